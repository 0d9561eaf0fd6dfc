package deploy_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

var update = flag.Bool("update", false, "write the Grafana dashboard anew")

// dashboardFile is what Grafana reads, written by this test with -update.
const dashboardFile = "grafana/endshake.json"

// source is the data source that grafana/provisioning names.
var source = common.DataSourceRef{Type: cog.ToPtr("prometheus"), Uid: cog.ToPtr("endshake-prometheus")}

// panel is one picture of the dashboard: lines over time, or a table of now.
type panel struct {
	title, about string
	unit         string // of Grafana's; "": a plain number
	wide         bool   // over both columns
	height       uint32
	decimals     int      // below 0: as many as it takes
	stepped      bool     // counts, which jump
	min, max     *float64 // of the axis; nil: as the figures are
	limit        bool     // a line at 1
	queries      []query
	columns      []column // of a table, in order, with its words; nil: lines over time
	order        string   // column that a table is sorted by
	falling      bool     // the largest first
}

type query struct{ legend, expr string }

// column is one of a table: a label, or "Value #A" for the figure of query A.
type column struct{ of, words, unit string }

var nothing = cog.ToPtr(0.0)

// panels are all pictures, from the top.
var panels = []panel{
	{
		title: "How much of its limit each clock's worst bearing has used", unit: "percentunit", wide: true, height: 10, decimals: -1, min: nothing, limit: true,
		about:   "1 is the limit. The figure is the likely level of the bearing with the largest share; clocks without a reading or without a limit are not shown. It falls when a bearing is repaired.",
		queries: []query{{"{{clock}}", `endshake_clock_limit_used_ratio{clock=~"$clock"}`}},
	},
	{
		title: "The fifteen bearings nearest their limit", wide: true, height: 10, decimals: -1, order: "Share used", falling: true,
		about: "The day of the limit is the one by which it is as likely as not to be reached. It is empty where the readings cannot carry a date.",
		queries: []query{
			{"", nearest},
			{"", "1000 * endshake_bearing_level_meters and " + nearest},
			{"", "1000 * endshake_bearing_limit_meters and " + nearest},
			{"", "1000 * endshake_bearing_limit_reached_timestamp_seconds and " + nearest},
			{"", "1000 * endshake_bearing_measure_by_timestamp_seconds and " + nearest},
		},
		columns: []column{{"clock", "Clock", ""}, {"train", "Train", ""}, {"bearing", "Bearing", ""}, {"Value #A", "Share used", "percentunit"}, {"Value #B", "Now, mm", ""},
			{"Value #C", "Limit, mm", ""}, {"Value #D", "Limit reached", "dateTimeAsIso"}, {"Value #E", "Measure by", "dateTimeAsIso"}},
	},
	{
		title: "Days until the next task of each kind is due", height: 10, decimals: 1, order: "Days",
		about:   "Below 0 the day has begun or is past. Tasks of clocks that rest are not shown.",
		queries: []query{{"{{clock}}: {{kind}}", `endshake_clock_next_due_seconds{clock=~"$clock"} / 86400`}},
		columns: []column{{"clock", "Clock", ""}, {"kind", "Task", ""}, {"Value", "Days", ""}},
	},
	{
		title: "Days of wind left", height: 10, decimals: 1,
		about:   "Below 0 a train has run down by what is logged, unless somebody wound it and did not write it down.",
		queries: []query{{"{{clock}}, {{train}}", `endshake_train_run_left_seconds{clock=~"$clock"} / 86400`}},
	},
	{
		title: "Hours run in a day", unit: "h", height: 9, decimals: -1, min: nothing, max: cog.ToPtr(25.0),
		about:   "Of each train, as the log tells, over the last 7 days. A clock that goes all the time shows 24.",
		queries: []query{{"{{clock}}: {{train}}", `increase(endshake_clock_run_seconds_total{clock=~"$clock"}[7d]) / 7 / 3600`}},
	},
	{
		title: "Error of the hands, in seconds", height: 9, decimals: 1,
		about:   "As last assessed from the errors that were written down: above 0 fast, below 0 slow.",
		queries: []query{{"{{clock}}", `endshake_clock_error_seconds{clock=~"$clock"}`}},
	},
	{
		title: "Days since anything was logged", height: 9, decimals: 1, min: nothing,
		about:   "A clock with a long silence deserves a telephone call: its run-hours are only supposed.",
		queries: []query{{"{{clock}}", `endshake_clock_last_entry_age_seconds{clock=~"$clock"} / 86400`}},
	},
	{
		title: "Clocks that go, and tasks by state", height: 9, decimals: 0, min: nothing, stepped: true,
		about: "The states are those of the pages: late, due, open, ahead, resting.",
		queries: []query{{"clocks going", `sum(endshake_clock_going{clock=~"$clock"})`},
			{"tasks {{state}}", `sum by (state) (endshake_clock_tasks{clock=~"$clock"})`}},
	},
	{
		title: "Mails by state", height: 8, decimals: 0, min: nothing, stepped: true,
		about:   "Parked: it may have gone out twice, and a person must look in the mail room.",
		queries: []query{{"{{state}}", `endshake_notices{state!="sent"}`}},
	},
	{
		title: "Tries to send a mail, in a day", height: 8, decimals: 0, min: nothing, stepped: true,
		about:   "By what came of them.",
		queries: []query{{"{{result}}", `increase(endshake_mail_results_total[1d])`}},
	},
	{
		title: "Age of the figures", unit: "s", height: 7, decimals: -1, min: nothing,
		about:   "The fleet is assessed every 10 minutes. A line that climbs means that all pages show old figures.",
		queries: []query{{"since the last assessment", `endshake_snapshot_age_seconds`}},
	},
	{
		title: "Runs of the jobs, in a day", height: 7, decimals: 0, min: nothing, stepped: true,
		about:   "By result. The version that runs is in endshake_build_info.",
		queries: []query{{"{{name}}: {{result}}", `increase(endshake_job_runs_total[1d])`}},
	},
	{
		title: "Days since the last whole backup", height: 7, decimals: 1, min: nothing,
		about:   "By what lies in the folder of backups. Nothing is shown where none are made, or the folder cannot be read.",
		queries: []query{{"{{instance}}", `(time() - endshake_backup_last_good_timestamp_seconds) / 86400`}},
	},
	{
		title: "The database answers, and the clock is believed", height: 7, decimals: 0, min: nothing, max: cog.ToPtr(1.0), stepped: true,
		about: "1 while the database answers and takes changes, and while the clock of the machine is believed. At 0 nothing can be logged, and no letter is sent.",
		queries: []query{{"{{instance}}: database", `endshake_database_answers`},
			{"{{instance}}: clock", `endshake_time_believed`}},
	},
}

// nearest are the bearings that have used most of their limits.
const nearest = `topk(15, endshake_bearing_limit_used_ratio{clock=~"$clock"})`

// targets are the queries of a panel.
func (p panel) targets() []cog.Builder[variants.Dataquery] {
	var all []cog.Builder[variants.Dataquery]
	for i, q := range p.queries {
		t := prometheus.NewDataqueryBuilder().Datasource(source).Expr(q.expr).RefId(string(rune('A' + i)))
		if q.legend != "" {
			t.LegendFormat(q.legend)
		}
		if p.columns != nil {
			t.Format(prometheus.PromQueryFormatTable).Instant()
		}
		all = append(all, t)
	}
	return all
}

// lines is the panel as lines over time.
func (p panel) lines(id uint32) cog.Builder[dashboard.Panel] {
	b := timeseries.NewPanelBuilder().Id(id).Title(p.title).Description(p.about).Datasource(source).Targets(p.targets()).
		Height(p.height).Span(p.width()).
		DrawStyle(common.GraphDrawStyleLine).LineWidth(1).FillOpacity(0).ShowPoints(common.VisibilityModeNever).
		SpanNulls(common.BoolOrFloat64{Bool: cog.ToPtr(true)}).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdPaletteClassic)).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementRight)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderDescending))
	if p.unit != "" {
		b.Unit(p.unit)
	}
	if p.stepped {
		b.LineInterpolation(common.LineInterpolationStepAfter)
	}
	if p.decimals >= 0 {
		b.Decimals(float64(p.decimals))
	}
	if p.min != nil {
		b.Min(*p.min)
	}
	if p.max != nil {
		b.Max(*p.max)
	}
	if p.limit {
		b.ThresholdsStyle(common.NewGraphThresholdsStyleConfigBuilder().Mode(common.GraphThresholdsStyleModeLine)).
			Thresholds(dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).
				Steps([]dashboard.Threshold{{Color: "transparent"}, {Color: "#9C1F2E", Value: cog.ToPtr(1.0)}}))
	}
	return b
}

// rows is the panel as a table of now.
func (p panel) rows(id uint32) cog.Builder[dashboard.Panel] {
	b := table.NewPanelBuilder().Id(id).Title(p.title).Description(p.about).Datasource(source).Targets(p.targets()).
		Height(p.height).Span(p.width()).ShowHeader(true).
		SortBy([]cog.Builder[common.TableSortByFieldState]{common.NewTableSortByFieldStateBuilder().DisplayName(p.order).Desc(p.falling)})
	if p.decimals >= 0 {
		b.Decimals(float64(p.decimals))
	}
	if len(p.queries) > 1 {
		b.WithTransformation(dashboard.DataTransformerConfig{Id: "merge", Options: map[string]any{}})
	}
	at, words := map[string]int{}, map[string]string{}
	for i, c := range p.columns {
		at[c.of], words[c.of] = i, c.words
		if c.unit != "" {
			b.OverrideByName(c.words, []dashboard.DynamicConfigValue{{Id: "unit", Value: c.unit}})
		}
	}
	return b.WithTransformation(dashboard.DataTransformerConfig{Id: "organize", Options: map[string]any{
		"excludeByName": map[string]bool{"Time": true, "__name__": true, "instance": true, "job": true}, "indexByName": at, "renameByName": words,
	}})
}

// width is in columns of Grafana's grid, which has 24.
func (p panel) width() uint32 {
	if p.wide {
		return 24
	}
	return 12
}

// drawn is the dashboard as its file should be.
func drawn(t *testing.T) []byte {
	t.Helper()
	all := dashboard.StringOrArrayOfString{ArrayOfString: []string{"$__all"}}
	//lint:ignore SA1019 the newer form is for newer Grafanas alone
	b := dashboard.NewDashboardBuilder("Town clocks").Uid("endshake-clocks").Tags([]string{"endshake"}).
		Description("Wear, due work and mail of the clocks in care, from the metrics of endshake. Written by a test of deploy: change it there.").
		Time("now-1y", "now").Refresh("5m").Timezone("browser").Tooltip(dashboard.DashboardCursorSyncCrosshair).Version(2).
		WithVariable(dashboard.NewQueryVariableBuilder("clock").Label("Clock").Datasource(source).
			Query(dashboard.StringOrMap{Map: map[string]any{"query": "label_values(endshake_clock_going, clock)", "refId": "clocks"}}).
			Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortAlphabeticalAsc).Multi(true).IncludeAll(true).AllValue(".*").
			Current(dashboard.VariableOption{Text: dashboard.StringOrArrayOfString{ArrayOfString: []string{"All"}}, Value: all}))
	for i, p := range panels {
		if p.columns != nil {
			b.WithPanel(p.rows(uint32(i + 1)))
		} else {
			b.WithPanel(p.lines(uint32(i + 1)))
		}
	}
	d, err := b.Build()
	if err != nil {
		t.Fatal(err)
	}
	// Older Grafanas read it too, and newer ones bring it up to date by themselves.
	d.SchemaVersion = 39
	out, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return append(out, '\n')
}

// The dashboard is as this file describes it.
func TestDashboardIsDrawn(t *testing.T) {
	want := drawn(t)
	if *update {
		if err := os.WriteFile(dashboardFile, want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if read(t, dashboardFile) != string(want) {
		t.Errorf("%s is not what is described here: run the test with -update, and look at what changed", dashboardFile)
	}
}

// Grafana finds the dashboard and asks where it is told, no panel lies on
// another, and each says in plain words what it shows.
func TestDashboard(t *testing.T) {
	//lint:ignore SA1019 as it is drawn
	var d dashboard.Dashboard
	if err := json.Unmarshal([]byte(read(t, dashboardFile)), &d); err != nil {
		t.Fatal(err)
	}
	if err := d.Validate(); err != nil {
		t.Error(err)
	}
	if uids := find(read(t, "grafana/provisioning/datasources/prometheus.yml"), `(?m)^ +uid: (\S+)`); !slices.Equal(uids, []string{*source.Uid}) {
		t.Errorf("the sources %q are provisioned, the dashboard asks %q", uids, *source.Uid)
	}
	compose := read(t, "../docker-compose.yml")
	for _, path := range find(read(t, "grafana/provisioning/dashboards/endshake.yml"), `path: (\S+)`) {
		if !strings.Contains(compose, "deploy/grafana/endshake.json:"+path+"/endshake.json:") {
			t.Errorf("Grafana looks for dashboards in %s, where docker-compose.yml does not lay it", path)
		}
	}
	taken, ids := map[[2]uint32]string{}, map[uint32]bool{}
	for _, each := range d.Panels {
		p := each.Panel
		if p == nil || p.Title == nil || p.Description == nil || p.Id == nil || len(p.Targets) == 0 || ids[*p.Id] {
			t.Fatalf("a panel lacks words or targets, or its number is used twice: %+v", p)
		}
		ids[*p.Id] = true
		if words := *p.Title + *p.Description; regexp.MustCompile(`[_{}$]|endshake_[^b]`).MatchString(strings.ReplaceAll(words, "endshake_build_info", "")) {
			t.Errorf("panel %q is not in plain words", *p.Title)
		}
		if p.Datasource == nil || *p.Datasource.Uid != *source.Uid {
			t.Errorf("panel %q asks another source", *p.Title)
		}
		g := p.GridPos // Grafana's grid is 24 wide
		if g.W == 0 || g.H == 0 || g.X+g.W > 24 {
			t.Errorf("panel %q lies off the grid: %+v", *p.Title, g)
		}
		for x := g.X; x < g.X+g.W; x++ {
			for y := g.Y; y < g.Y+g.H; y++ {
				if other := taken[[2]uint32{x, y}]; other != "" {
					t.Fatalf("panels %q and %q lie on one another", *p.Title, other)
				}
				taken[[2]uint32{x, y}] = *p.Title
			}
		}
	}
	if len(d.Panels) != len(panels) {
		t.Errorf("%d panels, want %d", len(d.Panels), len(panels))
	}
}

// promtool can read each query of the dashboard, as a rule.
func TestDashboardQueries(t *testing.T) {
	promtool := tool(t, "promtool", "prometheus")
	var rules strings.Builder
	rules.WriteString("groups:\n- name: dashboard\n  rules:\n")
	for i, p := range panels {
		for j, q := range p.queries {
			fmt.Fprintf(&rules, "  - record: panel_%d_%d\n    expr: %q\n", i, j, strings.ReplaceAll(q.expr, "$clock", ".*"))
		}
	}
	file := filepath.Join(t.TempDir(), "rules.yml")
	if err := os.WriteFile(file, []byte(rules.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := run(t, promtool, "check", "rules", file); err != nil {
		t.Errorf("promtool cannot read a query of the dashboard: %v\n%s", err, out)
	}
}
