package web

import (
	"cmp"
	"context"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"endshake/daemon/chart"
	print "endshake/daemon/paper"
	"endshake/schedule"
)

// printFor is how long a report may wait for its turn to be printed and be printed
// (judgement, no source).
const printFor = 20 * time.Second

// reportPage is a report with what it can be asked for.
type reportPage struct {
	Report      schedule.Report
	Sections    []reportSection
	Action      string // its address
	Clock, Name string // of the one clock that it is about; empty: of several
	Owners      []option
	Of          string // the owner chosen; "all": everybody's
	From, Until string
	PDF         string // address of the same as a PDF
}

// reportSection is a section with its charts drawn.
type reportSection struct {
	schedule.ReportSection
	ID    string
	Drawn []drawnChart
}

// drawnChart is a chart in both widths.
type drawnChart struct {
	Wide, Slim template.HTML
	Caption    string
}

// everybody is what the address says where the report is over all clocks.
const everybody = "all"

// reportOptions reads the period that an address names.
func (s *server) reportOptions(q url.Values) (schedule.ReportOptions, error) {
	o := schedule.ReportOptions{Sums: s.Sums}
	for name, to := range map[string]*schedule.Date{"from": &o.From, "until": &o.To} {
		if text := q.Get(name); text != "" {
			d, err := schedule.ParseDate(text)
			if err != nil {
				return o, &schedule.Error{Code: schedule.Invalid, Field: name, Message: err.Error()}
			}
			*to = d
		}
	}
	return o, nil
}

// report shows the report over the clocks that the reader may see: of one owner, or
// of all.
func (s *server) report(w http.ResponseWriter, r *http.Request) {
	rd, ok := s.reader(w, r)
	if !ok {
		return
	}
	q := r.URL.Query()
	opt, err := s.reportOptions(q)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	owners := rd.seen.Owners()
	of := cmp.Or(q.Get("owner"), everybody)
	if who := by(r); !q.Has("owner") && !who.Conservator && slices.Contains(owners, who.Person) {
		of = who.Person
	}
	page := reportPage{Action: "/report", Of: of, Owners: []option{{everybody, "all owners"}}}
	for _, slug := range owners {
		page.Owners = append(page.Owners, option{slug, personName(rd.seen.Fleet, slug)})
	}
	if of == everybody {
		page.Report, err = rd.seen.FleetReport(opt)
	} else {
		page.Report, err = rd.seen.OwnerReport(of, opt)
	}
	if err != nil {
		s.failed(w, r, err)
		return
	}
	s.showReport(w, r, rd.seen, page, url.Values{"owner": {of}}, view{Here: "/outlook"})
}

// clockReport shows the condition report of a clock.
func (s *server) clockReport(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	opt, err := s.reportOptions(r.URL.Query())
	if err != nil {
		s.failed(w, r, err)
		return
	}
	page := reportPage{Action: reportOf(a.Clock), Clock: a.Clock.Slug, Name: a.Clock.Name}
	if page.Report, err = snap.ClockReport(a.Clock.Slug, opt); err != nil {
		s.failed(w, r, err)
		return
	}
	s.showReport(w, r, snap, page, url.Values{}, view{Here: "/", Now: a.Now, Zone: a.Zone})
}

// reportOf is the address of a clock's condition report.
func reportOf(c schedule.Clock) string { return "/clock/" + url.PathEscape(c.Slug) + "/report" }

// showReport answers with a report as a page, or as a PDF where that is asked for.
func (s *server) showReport(w http.ResponseWriter, r *http.Request, snap *schedule.Snapshot, page reportPage, same url.Values, v view) {
	switch as := r.URL.Query().Get("as"); as {
	case "":
	case "pdf":
		s.printReport(w, r, snap, page.Report)
		return
	default:
		s.failed(w, r, &schedule.Error{Code: schedule.Invalid, Field: "as", Message: "a report is a page, or with as=pdf a PDF: " + strconv.Quote(as) + " is neither"})
		return
	}
	page.From, page.Until = page.Report.From.String(), page.Report.To.String()
	same.Set("from", page.From)
	same.Set("until", page.Until)
	same.Set("as", "pdf")
	page.PDF = page.Action + "?" + same.Encode()
	units := s.units(r, v)
	wide, slim := print.Drawn(snap, chart.Wide), print.Drawn(snap, chart.Narrow)
	for i, part := range page.Report.Sections {
		section := reportSection{ReportSection: part, ID: "part" + strconv.Itoa(i+1)}
		for _, c := range part.Charts {
			d := drawnChart{Caption: c.Caption}
			if p, ok := wide(c); ok {
				d.Wide = named(snap.Fleet, units, p)
			}
			if p, ok := slim(c); ok {
				d.Slim = named(snap.Fleet, units, p)
			}
			section.Drawn = append(section.Drawn, d)
		}
		page.Sections = append(page.Sections, section)
	}
	v.Title, v.Body = page.Report.Title, page
	s.show(w, r, http.StatusOK, "report", v)
}

// printReport answers with a report as a PDF. One is printed at a time, and each
// reader's one after the other.
func (s *server) printReport(w http.ResponseWriter, r *http.Request, snap *schedule.Snapshot, of schedule.Report) {
	wait, cancel := context.WithTimeout(r.Context(), printFor)
	defer cancel()
	done, err := s.printing.take(wait, cmp.Or(by(r).Person, s.from(r)))
	if err != nil {
		if errors.Is(err, context.DeadlineExceeded) {
			w.Header().Set("Retry-After", "30")
			s.sorry(w, r, http.StatusServiceUnavailable, "Too many reports are being printed", "Ask for it again in a minute; the page shows the same.")
		}
		return
	}
	units := s.units(r, view{})
	out, err := print.PDF(of, units, print.For(units), print.Drawn(snap, chart.Wide))
	done()
	if err != nil {
		s.fault(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", `attachment; filename="`+keptAs(of)+`.pdf"`)
	h.Set("Content-Length", strconv.Itoa(len(out)))
	if r.Method != http.MethodHead {
		_, _ = w.Write(out) // the reader has gone: nobody is left to tell
	}
}

// keptAs is what a report is kept as.
func keptAs(r schedule.Report) string { return r.Name + "-" + r.Data.String() }
