package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"endshake/daemon/reckon"
	"endshake/schedule"
)

// WriteJSON prints a value as JSON for people and programs.
func WriteJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// Once runs one whole cycle: the jobs that are owed, of which the lesson from the
// fleet comes first, the mail they call for over SMTP, and every page as a
// browser would get it. It writes what came of
// it under dir, prints a summary, and stops everything.
func (d *Demo) Once(ctx context.Context, dir string, out io.Writer) (err error) {
	defer func() { err = errors.Join(err, d.life.stop()) }()
	d.runner.Wake(ctx)
	tally, err := d.sender.Drain(ctx)
	if err != nil {
		return err
	}
	d.tally(tally)
	d.front.serve()
	d.life.started("pages", d.front.server.Shutdown)

	s := d.desk.Snapshot()
	f := folder{dir: dir, base: "http://" + d.Addr()}
	list := s.DueList()
	f.write("due.txt", []byte(list.Text(s, 90)))
	f.writeJSON("due.json", list)
	for i, a := range d.sink.Arrivals() {
		f.write(fmt.Sprintf("mail/%02d.eml", i+1), a.Raw)
	}
	f.fetch(ctx, "/metrics", "metrics.txt")
	f.fetch(ctx, "/metrics/bearings", "bearings.txt")
	for path, name := range pagesOf(s) {
		f.fetch(ctx, path, "pages/"+name+".html")
	}
	if f.err != nil {
		return f.err
	}
	counts := map[schedule.TaskState]int{}
	for _, t := range list.Tasks {
		counts[t.State]++
	}
	fmt.Fprintf(out, "%s: %d clocks, %d tasks (%d late, %d due, %d open), %d mails sent and received, %d files in %s\n",
		list.Today.Words(), len(s.Clocks), len(list.Tasks), counts[schedule.Late], counts[schedule.Due], counts[schedule.Open],
		tally.Sent, f.files, dir)
	return nil
}

// pagesOf lists every page of a fleet by path, with a file name for each.
func pagesOf(s *schedule.Snapshot) map[string]string {
	pages := map[string]string{"/": "fleet", "/due": "due", "/outlook": "outlook", "/rounds": "rounds", "/report": "report", "/timechange": "timechange", "/mail": "mail-room", "/reckoner": "reckoner", "/help": "help", "/help/api": "help-api"}
	for _, sheet := range reckon.Sheets {
		pages["/reckoner/"+sheet.Name] = "reckoner-" + sheet.Name
	}
	for _, owner := range s.Owners() {
		pages["/report?owner="+owner] = "report-of-" + owner
	}
	for _, a := range s.Clocks {
		base := "/clock/" + a.Clock.Slug
		pages[base] = "clock-" + a.Clock.Slug
		pages[base+"/report"] = "report-" + a.Clock.Slug
		pages[base+"/history"] = "history-" + a.Clock.Slug
		for _, o := range a.Outlooks {
			pages[base+"/bearing/"+o.Bearing.Code] = "bearing-" + a.Clock.Slug + "-" + o.Bearing.Code
		}
		for _, k := range schedule.EntryKinds {
			pages[base+"/log?kind="+string(k)] = "log-" + a.Clock.Slug + "-" + string(k)
		}
	}
	return pages
}

// folder writes files under a folder until something goes wrong.
type folder struct {
	dir, base string
	files     int
	err       error
}

func (f *folder) write(name string, data []byte) {
	if f.err != nil {
		return
	}
	path := filepath.Join(f.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		f.err = fmt.Errorf("--out: %w: name a folder that can be written", err)
		return
	}
	f.err = os.WriteFile(path, data, 0o644)
	f.files++
}

func (f *folder) writeJSON(name string, v any) {
	var b strings.Builder
	if err := WriteJSON(&b, v); err != nil && f.err == nil {
		f.err = err
	}
	f.write(name, []byte(b.String()))
}

// fetch gets a page as a browser would.
func (f *folder) fetch(ctx context.Context, path, name string) {
	if f.err != nil {
		return
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, f.base+path, nil)
	if err != nil {
		f.err = err
		return
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		f.err = fmt.Errorf("get %s: %w", path, err)
		return
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	switch {
	case err != nil:
		f.err = fmt.Errorf("get %s: %w", path, err)
	case resp.StatusCode != http.StatusOK:
		f.err = fmt.Errorf("get %s: status %d: %.200s", path, resp.StatusCode, body)
	}
	f.write(name, body)
}
