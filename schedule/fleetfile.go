package schedule

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"regexp"
	"strings"
	"time"

	"endshake/wear"
)

// The fleet file describes a fleet as JSON, for people to write: lengths carry
// their unit ("0.42 mm"), durations are in hours, days are 2026-11-25. What a clock's care needs stands in
// carefile.go.
type fileFleet struct {
	Sites  []fileSite   `json:"sites"`
	People []filePerson `json:"people"`
	Clocks []fileClock  `json:"clocks"`
}

type fileSite struct {
	Slug    string       `json:"slug"`
	Name    string       `json:"name"`
	Zone    string       `json:"zone"`
	Place   string       `json:"place,omitempty"`
	Access  string       `json:"access,omitempty"`
	Caution string       `json:"caution,omitempty"`
	Climate *fileClimate `json:"climate,omitempty"`
	Reach   Reach        `json:"reach,omitzero"`
}

type filePerson struct {
	Slug  string    `json:"slug"`
	Name  string    `json:"name"`
	Email string    `json:"email,omitempty"`
	Zone  string    `json:"zone,omitempty"`
	Units wear.Unit `json:"units,omitempty"`
	Mail  Wishes    `json:"mail,omitzero"`
	Going Going     `json:"going,omitzero"`

	Damage []string `json:"-"` // as in Person
}

type fileClock struct {
	Slug     string       `json:"slug"`
	Name     string       `json:"name"`
	Kind     ClockKind    `json:"kind"`
	Site     string       `json:"site"`
	InCare   Date         `json:"inCare"`
	Note     string       `json:"note,omitempty"`
	Cautions []Hazard     `json:"cautions,omitempty"`
	Duties   []fileDuty   `json:"duties,omitempty"`
	Trains   []fileTrain  `json:"trains,omitempty"`
	Policies []filePolicy `json:"policies,omitempty"`
	Care     *fileCare    `json:"care,omitempty"`
}

type fileDuty struct {
	Person string `json:"person"`
	Role   Role   `json:"role"`
}

type fileTrain struct {
	Code          string         `json:"code"`
	Name          string         `json:"name,omitempty"`
	Kind          wear.TrainKind `json:"kind"`
	Drive         wear.Drive     `json:"drive"`
	ReserveHours  float64        `json:"reserveHours,omitempty"`
	StrokesPerDay float64        `json:"strokesPerDay,omitempty"`
	Weight        *fileWeight    `json:"weight,omitempty"`
	Striking      *fileStriking  `json:"striking,omitempty"`
	MeterHours    float64        `json:"meterHours,omitempty"`
	Arbors        []fileArbor    `json:"arbors,omitempty"`
	Meshes        []fileMesh     `json:"meshes,omitempty"`
}

type fileArbor struct {
	Code     string        `json:"code"`
	Name     string        `json:"name,omitempty"`
	Revs     float64       `json:"revs,omitempty"` // an hour, or a stroke
	Bearings []fileBearing `json:"bearings,omitempty"`
}

type fileBearing struct {
	Code     string            `json:"code"`
	Name     string            `json:"name,omitempty"`
	Form     wear.Form         `json:"form"`
	Shake    wear.Shake        `json:"shake"`
	Pair     wear.Pair         `json:"pair,omitempty"`
	In       wear.Surroundings `json:"in,omitempty"`
	LoadN    float64           `json:"loadN,omitempty"`
	Outer    length            `json:"outer,omitzero"`
	Inner    length            `json:"inner,omitzero"`
	Bore     length            `json:"bore,omitzero"`
	Pivot    length            `json:"pivot,omitzero"`
	Long     length            `json:"long,omitzero"`
	Stand    length            `json:"stand,omitzero"`
	Shaft    wear.Metal        `json:"shaft,omitempty"`
	Frame    wear.Metal        `json:"frame,omitempty"`
	FittedAt Date              `json:"fittedAt,omitzero"`
	Fitted   length            `json:"fitted,omitzero"`
	FittedSD length            `json:"fittedSd,omitzero"`
	Watch    *fileLimit        `json:"watch,omitempty"`
	Act      *fileLimit        `json:"act,omitempty"`
}

type fileLimit struct {
	Size   length `json:"size"`
	Source string `json:"source"`
}

// fileMesh takes one of Module, in mm, and DiametralPitch, in teeth to an inch of
// diameter; it is written with Module. Angles are in degrees.
type fileMesh struct {
	Code           string        `json:"code"`
	Name           string        `json:"name,omitempty"`
	Bearing        string        `json:"bearing"`
	Kind           wear.MeshKind `json:"kind"`
	Module         *float64      `json:"module,omitempty"`
	DiametralPitch *float64      `json:"diametralPitch,omitempty"`
	PressureAngle  float64       `json:"pressureAngle,omitempty"`
	Cycloidal      bool          `json:"cycloidal,omitempty"`
	Teeth          int           `json:"teeth"`
	Mate           int           `json:"mate"`
	Cone           float64       `json:"cone,omitempty"`
	Drop           wear.Drop     `json:"drop,omitempty"`
	Mounted        length        `json:"mounted,omitzero"`
	Backlash       length        `json:"backlash,omitzero"`
	ToHand         float64       `json:"toHand,omitempty"`
}

type filePolicy struct {
	Task     TaskKind `json:"task"`
	Train    string   `json:"train,omitempty"`
	Bearing  string   `json:"bearing,omitempty"`
	Days     int      `json:"days,omitempty"`
	RunHours float64  `json:"runHours,omitempty"`
	Risk     float64  `json:"risk,omitempty"`
	Line     string   `json:"line,omitempty"`
	Lead     int      `json:"lead,omitempty"`
	Grace    int      `json:"grace,omitempty"`
	Minutes  int      `json:"minutes,omitempty"`
	Two      bool     `json:"two,omitempty"`
	Reason   string   `json:"reason,omitempty"`
	Source   string   `json:"source"`
}

// length is a wear.Length written with its unit.
type length wear.Length

func (l length) MarshalText() ([]byte, error) { return []byte(wear.Length(l).In(wear.MM)), nil }

func (l *length) UnmarshalText(b []byte) error {
	v, err := wear.ParseLength(string(b))
	*l = length(v)
	return err
}

// ParseFleet reads a fleet file and validates it. Errors are *Error; a field
// that is not known is refused, because it is a slip of spelling. The day on
// which a part was fitted is one of the clock's own zone.
func ParseFleet(data []byte) (Fleet, error) {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	var in fileFleet
	if err := dec.Decode(&in); err != nil {
		return Fleet{}, fleetFileError(data, err)
	}
	end := dec.InputOffset()
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return Fleet{}, invalid("", "the fleet file goes on after its end, near line %d: keep one { } only", lineAt(data, end))
	}
	if err := in.checkModules(); err != nil {
		return Fleet{}, err
	}
	if err := in.checkCounts(); err != nil {
		return Fleet{}, err
	}
	f := in.fleet()
	if err := f.Validate(); err != nil {
		return Fleet{}, err
	}
	return f, nil
}

// fleetFileError says near which line a file cannot be read. Where the decoder
// does not tell, it is the first that has the text which the error quotes.
func fleetFileError(data []byte, err error) error {
	if errors.Is(err, io.EOF) {
		return invalid("", "the fleet file is empty: describe sites, people and clocks in it")
	}
	offset := int64(len(data))
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		offset = syntax.Offset
	case errors.As(err, &kind):
		name := kind.Field[strings.LastIndex(kind.Field, ".")+1:]
		return invalid("", "the fleet file cannot be read near line %d: %s needs %s, not %s; mend it there",
			lineAt(data, kind.Offset), cmp.Or(name, "it"), fileWants(kind.Type), fileHas(kind.Value))
	default:
		text := quoted.FindString(err.Error())
		if at := bytes.Index(data, []byte(text)); at >= 0 && text != "" {
			offset = int64(at)
		}
	}
	return invalid("", "the fleet file cannot be read near line %d: %v; mend it there", lineAt(data, offset), err)
}

// fileWants says how a value of a type is written in a fleet file.
func fileWants(t reflect.Type) string {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t {
	case reflect.TypeFor[length]():
		return `a length with its unit in quotation marks, like "32 ft"`
	case reflect.TypeFor[Date]():
		return `a day in quotation marks, like "2026-11-25"`
	case reflect.TypeFor[Minutes]():
		return `a time of day in quotation marks, like "09:00"`
	case reflect.TypeFor[monthDay]():
		return `a month and day in quotation marks, like "10-15"`
	case reflect.TypeFor[gear]():
		return `a wheel and its pinion in quotation marks, like "120:10"`
	}
	switch t.Kind() {
	case reflect.String:
		return "words in quotation marks"
	case reflect.Float64:
		return "a plain number without quotation marks"
	case reflect.Int:
		return "a whole number without quotation marks"
	case reflect.Bool:
		return "true or false"
	case reflect.Slice:
		return "a list in [ ]"
	}
	return "its fields in { }"
}

// fileHas says what the decoder found instead.
func fileHas(value string) string {
	if n, ok := strings.CutPrefix(value, "number "); ok {
		return n
	}
	return cmp.Or(map[string]string{"string": "words in quotation marks", "number": "a plain number", "bool": "true or false",
		"array": "a list", "object": "fields in { }"}[value], value)
}

// quoted is a text in quotation marks.
var quoted = regexp.MustCompile(`"(?:[^"\\]|\\.)*"`)

func lineAt(data []byte, offset int64) int {
	return 1 + bytes.Count(data[:min(int64(len(data)), max(offset, 0))], []byte("\n"))
}

// FormatFleet writes what ParseFleet reads.
func FormatFleet(f Fleet) ([]byte, error) {
	out := fileFleet{Sites: []fileSite{}, People: []filePerson{}, Clocks: []fileClock{}}
	for _, s := range f.Sites {
		out.Sites = append(out.Sites, fileSite{Slug: s.Slug, Name: s.Name, Zone: s.Zone, Place: s.Place, Access: s.Access,
			Caution: s.Caution, Climate: fileClimateOf(s.Climate), Reach: s.Reach})
	}
	for _, p := range f.People {
		out.People = append(out.People, filePerson(p))
	}
	for _, c := range f.Clocks {
		site, _ := f.Site(c.Site)
		out.Clocks = append(out.Clocks, fileOf(c, site.Location()))
	}
	b, err := json.MarshalIndent(out, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("write the fleet file: %w", err)
	}
	return append(b, '\n'), nil
}

// FormatClock writes one clock as FormatFleet does, for programs; the zone is
// that of its site.
func FormatClock(c Clock, zone *time.Location) ([]byte, error) {
	b, err := json.Marshal(fileOf(c, zone))
	if err != nil {
		return nil, fmt.Errorf("write the clock %s: %w", c.Slug, err)
	}
	return b, nil
}

// checkModules sees that each mesh has one size of teeth, said in one way.
func (in fileFleet) checkModules() error {
	for i, c := range in.Clocks {
		for _, t := range c.Trains {
			for _, m := range t.Meshes {
				if problem := m.moduleProblem(); problem != "" {
					return invalid(at("clocks", i), "clock %q: train %q: mesh %q: %s", c.Slug, t.Code, m.Code, problem)
				}
			}
		}
	}
	return nil
}

func (in fileFleet) fleet() Fleet {
	var f Fleet
	for _, s := range in.Sites {
		f.Sites = append(f.Sites, Site{Slug: s.Slug, Name: s.Name, Zone: s.Zone, Place: s.Place, Access: s.Access,
			Caution: s.Caution, Climate: s.Climate.climate(), Reach: s.Reach})
	}
	for _, p := range in.People {
		if u, err := wear.ParseUnit(string(p.Units)); err == nil {
			p.Units = u
		}
		f.People = append(f.People, Person(p))
	}
	for _, c := range in.Clocks {
		site, _ := f.Site(c.Site)
		f.Clocks = append(f.Clocks, c.clock(site.Location()))
	}
	return f
}

func (in fileClock) clock(zone *time.Location) Clock {
	c := Clock{Slug: in.Slug, Name: in.Name, Kind: in.Kind, Site: in.Site, InCare: in.InCare, Note: in.Note, Cautions: in.Cautions,
		Care: in.Care.care()}
	for _, d := range in.Duties {
		c.Duties = append(c.Duties, Duty(d))
	}
	for _, p := range in.Policies {
		c.Policies = append(c.Policies, Policy(p))
	}
	for _, t := range in.Trains {
		train := wear.Train{
			Code: t.Code, Name: t.Name, Kind: t.Kind, Drive: t.Drive, StrokesPerDay: t.StrokesPerDay,
			Weight: t.Weight.weight(), Striking: t.Striking.striking(), MeterHours: t.MeterHours,
			// To a second, so that writing and reading again changes nothing; no
			// further than a Duration goes, so that what is too long is refused.
			Reserve: time.Duration(math.Round(max(-1, min(t.ReserveHours, 1e6))*3600)) * time.Second,
		}
		for _, a := range t.Arbors {
			arbor := wear.Arbor{Code: a.Code, Name: a.Name, Revs: a.Revs}
			for _, b := range a.Bearings {
				arbor.Bearings = append(arbor.Bearings, b.bearing(zone))
			}
			train.Arbors = append(train.Arbors, arbor)
		}
		for _, m := range t.Meshes {
			train.Meshes = append(train.Meshes, m.mesh())
		}
		c.Trains = append(c.Trains, train)
	}
	return c
}

func (in fileBearing) bearing(zone *time.Location) wear.Bearing {
	b := wear.Bearing{
		Code: in.Code, Name: in.Name, Form: in.Form, Shake: in.Shake, Pair: in.Pair, In: in.In, Load: in.LoadN,
		Outer: wear.Length(in.Outer), Inner: wear.Length(in.Inner),
		Bore: wear.Length(in.Bore), Pivot: wear.Length(in.Pivot), Long: wear.Length(in.Long),
		Stand: wear.Length(in.Stand), Shaft: in.Shaft, Frame: in.Frame,
		Fitted: wear.Length(in.Fitted), FittedSD: wear.Length(in.FittedSD),
		Watch: in.Watch.limit(), Act: in.Act.limit(),
	}
	if !in.FittedAt.IsZero() {
		b.FittedAt = in.FittedAt.Start(zone).UTC()
	}
	return b
}

func (in fileMesh) moduleProblem() string {
	switch {
	case (in.Module == nil) == (in.DiametralPitch == nil):
		return "give either module (mm) or diametralPitch (teeth to an inch), one of the two"
	case in.DiametralPitch != nil && !(*in.DiametralPitch > 0):
		return fmt.Sprintf("a diametral pitch of %v cannot be right: it is the teeth to an inch of diameter", *in.DiametralPitch)
	}
	return ""
}

// mesh is what passed checkModules. A diametral pitch is in teeth to the inch of
// exactly 25.4 mm.
func (in fileMesh) mesh() wear.Mesh {
	m := wear.Mesh{
		Code: in.Code, Name: in.Name, Bearing: in.Bearing, Kind: in.Kind,
		PressureAngle: in.PressureAngle, Cycloidal: in.Cycloidal, Teeth: in.Teeth, Mate: in.Mate, Cone: in.Cone, Drop: in.Drop,
		Mounted: wear.Length(in.Mounted), Backlash: wear.Length(in.Backlash), ToHand: in.ToHand,
	}
	if in.Module != nil {
		m.Module = *in.Module
	} else {
		m.Module = wear.Inch.MM() / *in.DiametralPitch
	}
	return m
}

func (in *fileLimit) limit() *wear.Limit {
	if in == nil {
		return nil
	}
	return &wear.Limit{Size: wear.Length(in.Size), Source: in.Source}
}

func fileOf(c Clock, zone *time.Location) fileClock {
	out := fileClock{Slug: c.Slug, Name: c.Name, Kind: c.Kind, Site: c.Site, InCare: c.InCare, Note: c.Note, Cautions: c.Cautions,
		Care: fileCareOf(c.Care)}
	for _, d := range c.Duties {
		out.Duties = append(out.Duties, fileDuty(d))
	}
	for _, p := range c.Policies {
		out.Policies = append(out.Policies, filePolicy(p))
	}
	for _, t := range c.Trains {
		train := fileTrain{Code: t.Code, Name: t.Name, Kind: t.Kind, Drive: t.Drive, ReserveHours: t.Reserve.Hours(), StrokesPerDay: t.StrokesPerDay,
			Weight: fileWeightOf(t.Weight), Striking: fileStrikingOf(t.Striking), MeterHours: t.MeterHours}
		for _, a := range t.Arbors {
			arbor := fileArbor{Code: a.Code, Name: a.Name, Revs: a.Revs}
			for _, b := range a.Bearings {
				arbor.Bearings = append(arbor.Bearings, fileBearingOf(b, zone))
			}
			train.Arbors = append(train.Arbors, arbor)
		}
		for _, m := range t.Meshes {
			train.Meshes = append(train.Meshes, fileMeshOf(m))
		}
		out.Trains = append(out.Trains, train)
	}
	return out
}

func fileBearingOf(b wear.Bearing, zone *time.Location) fileBearing {
	out := fileBearing{
		Code: b.Code, Name: b.Name, Form: b.Form, Shake: b.Shake, Pair: b.Pair, In: b.In, LoadN: b.Load,
		Outer: length(b.Outer), Inner: length(b.Inner), Bore: length(b.Bore), Pivot: length(b.Pivot), Long: length(b.Long),
		Stand: length(b.Stand), Shaft: b.Shaft, Frame: b.Frame,
		Fitted: length(b.Fitted), FittedSD: length(b.FittedSD),
	}
	if !b.FittedAt.IsZero() {
		out.FittedAt = DateOf(b.FittedAt, zone)
	}
	out.Watch, out.Act = fileLimitOf(b.Watch), fileLimitOf(b.Act)
	return out
}

func fileMeshOf(m wear.Mesh) fileMesh {
	return fileMesh{
		Code: m.Code, Name: m.Name, Bearing: m.Bearing, Kind: m.Kind, Module: &m.Module,
		PressureAngle: m.PressureAngle, Cycloidal: m.Cycloidal, Teeth: m.Teeth, Mate: m.Mate, Cone: m.Cone, Drop: m.Drop,
		Mounted: length(m.Mounted), Backlash: length(m.Backlash), ToHand: m.ToHand,
	}
}

func fileLimitOf(l *wear.Limit) *fileLimit {
	if l == nil {
		return nil
	}
	return &fileLimit{length(l.Size), l.Source}
}
