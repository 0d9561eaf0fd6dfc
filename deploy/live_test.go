package deploy_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"endshake/daemon"
	"endshake/db/dbtest"
	"endshake/schedule"
	"endshake/wear"
)

// serve runs the service on loopback with the example fleet, 400 days in care, on
// a database, until the test ends. By its log the moot hall was wound eight days
// ago, of which its weight has a little over eight; what else is due was never done.
func serve(t *testing.T, database string, change ...func(*daemon.Options)) (address string) {
	t.Helper()
	now := time.Now()
	text := strings.ReplaceAll(read(t, "fleet.example.json"), "2026-11-01", now.AddDate(0, 0, -400).Format(time.DateOnly))
	fleet, err := schedule.ParseFleet([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	s := dbtest.Open(t, database)
	wound := schedule.Entry{Clock: "moot-hall", Kind: schedule.Wound, At: now.AddDate(0, 0, -8).UTC(), By: "ned", Source: "test"}
	measured := schedule.Entry{Clock: "moot-hall", Kind: schedule.Measured, At: now.AddDate(0, 0, -9).UTC(), By: "ada", Source: "test"}
	measured.Bearing, measured.Reading = "centre-front", &wear.Reading{Shake: wear.SideShake, Value: 420}
	if err := s.SaveFleet(t.Context(), "test", now, fleet, nil); err != nil {
		t.Fatal(err)
	}
	if err := s.AppendAll(t.Context(), "test", now, []schedule.Entry{measured, wound}); err != nil {
		t.Fatal(err)
	}
	o := daemon.Options{Config: daemon.Config{Database: database, Listen: "127.0.0.1:0", Zone: "Europe/London"},
		Version: "v9.8.7", Now: time.Now, Log: slog.New(slog.DiscardHandler)}
	for _, c := range change {
		c(&o)
	}
	d, err := daemon.New(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("the service did not stop cleanly: %v", err)
		}
	})
	return d.Addr()
}

// quickly are the shipped rules, and the file that names them, with short times:
// nothing needs to hold for long before it is told, and half an hour without
// letters is two seconds.
func quickly(t *testing.T, dir, target string) (config string) {
	t.Helper()
	rules := regexp.MustCompile(`(?m)^( +for:) .*$`).ReplaceAllString(read(t, "prometheus/rules.yml"), "$1 0s")
	changed := strings.ReplaceAll(rules, "> 1800", "> 2")
	settings := strings.ReplaceAll(read(t, "prometheus/prometheus.yml"), "endshake:8080", target)
	settings = regexp.MustCompile(`(?m)_interval: \d+m`).ReplaceAllString(settings, "_interval: 1s")
	if changed == rules || strings.Count(settings, target) != 2 || strings.Count(settings, "_interval: 1s") != 3 {
		t.Fatalf("the shipped files are not as this test makes them quick:\n%s", settings)
	}
	for name, text := range map[string]string{"rules.yml": changed, "prometheus.yml": settings} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "prometheus.yml")
}

// watching is a real Prometheus.
type watching struct {
	t    *testing.T
	base string
}

var listens = regexp.MustCompile(`msg="Listening on" address=(127\.0\.0\.1:\d+)`)

// watch starts Prometheus on a free port, until the test ends.
func watch(t *testing.T, target string) watching {
	t.Helper()
	program := tool(t, "prometheus", "prometheus")
	dir := t.TempDir()
	c := exec.Command(program, "--config.file="+quickly(t, dir, target), "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address=127.0.0.1:0")
	said, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	at, ended := make(chan string, 1), make(chan string, 1)
	go func() {
		var all strings.Builder
		for lines := bufio.NewScanner(said); lines.Scan(); {
			if m := listens.FindStringSubmatch(lines.Text()); m != nil {
				at <- m[1]
			}
			all.WriteString(lines.Text() + "\n")
		}
		ended <- all.String()
	}()
	t.Cleanup(func() {
		_ = c.Process.Signal(syscall.SIGTERM)
		<-ended
		_ = c.Wait()
	})
	select {
	case address := <-at:
		return watching{t, "http://" + address}
	case all := <-ended:
		ended <- all
		t.Fatalf("prometheus ended:\n%s", all)
	case <-time.After(time.Minute):
		t.Fatal("prometheus does not listen within a minute")
	}
	panic("not reached")
}

// ask asks its HTTP API, which may not be ready yet.
func (w watching) ask(path string, into any) error {
	r, err := http.Get(w.base + "/api/v1/" + path)
	if err != nil {
		return err
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return err
	}
	if r.StatusCode != http.StatusOK {
		return fmt.Errorf("%s answers %d: %.200s", path, r.StatusCode, body)
	}
	return json.Unmarshal(body, &struct{ Data any }{into})
}

// until asks again until a question is answered, or says after a minute and a half
// what was missing.
func (w watching) until(what string, answered func() error) {
	w.t.Helper()
	var err error
	for end := time.Now().Add(90 * time.Second); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		if err = answered(); err == nil {
			return
		}
	}
	w.t.Fatalf("%s: not within 90 s: %v", what, err)
}

// holds waits until a query gives something.
func (w watching) holds(query string) {
	w.t.Helper()
	w.until(query, func() error {
		var found struct{ Result []any }
		if err := w.ask("query?query="+url.QueryEscape(query), &found); err != nil {
			return err
		}
		if len(found.Result) == 0 {
			return fmt.Errorf("there is no such series")
		}
		return nil
	})
}

// firing gives the alerts that fire, as NAME or NAME CLOCK.
func (w watching) firing() (map[string]bool, error) {
	var found struct {
		Alerts []struct {
			State  string
			Labels map[string]string
		}
	}
	err := w.ask("alerts", &found)
	all := map[string]bool{}
	for _, a := range found.Alerts {
		if a.State == "firing" {
			all[strings.TrimSpace(a.Labels["alertname"]+" "+a.Labels["clock"])] = true
		}
	}
	return all, err
}

// fires waits until an alert fires, or until it no longer does.
func (w watching) fires(alert string, want bool) {
	w.t.Helper()
	w.until(fmt.Sprintf("%s firing: %v", alert, want), func() error {
		all, err := w.firing()
		if err == nil && all[alert] != want {
			err = fmt.Errorf("there fire %v", all)
		}
		return err
	})
}

// healthy holds that every rule can be evaluated on what is really there.
func (w watching) healthy() {
	w.t.Helper()
	w.until("every rule is evaluated", func() error {
		var found struct {
			Groups []struct {
				Rules []struct{ Name, Health, LastError string }
			}
		}
		err := w.ask("rules", &found)
		n := 0
		for _, g := range found.Groups {
			for _, r := range g.Rules {
				n++
				if r.Health != "ok" {
					return fmt.Errorf("%s is %s: %s", r.Name, r.Health, r.LastError)
				}
			}
		}
		if want := len(find(read(w.t, "prometheus/rules.yml"), `alert: (\w+)`)); err == nil && n != want {
			err = fmt.Errorf("%d rules, want %d", n, want)
		}
		return err
	})
}

// A real Prometheus with the shipped settings reads the running service, and the
// shipped rules tell what is wrong with it and with the clocks, and stop when it
// is put right.
func TestPrometheusWatches(t *testing.T) {
	address := serve(t, t.TempDir())
	w := watch(t, address)
	for _, query := range []string{
		`up{job="endshake"} == 1`, `up{job="endshake-bearings"} == 1`,
		`endshake_build_info{version="v9.8.7"} == 1`,
		`endshake_clock_going{clock="moot-hall",job="endshake"} == 1`,
		`endshake_bearing_level_meters{clock="moot-hall",train="going",bearing="centre-front",job="endshake-bearings"} < 0.001`,
		`endshake_bearing_limit_meters{bearing="centre-front"} == 0.0008`,
	} {
		w.holds(query)
	}
	w.fires("StopsSoon moot-hall", true)     // a few hours of wind left
	w.fires("TaskLongLate ferry-post", true) // never inspected, every 180 days
	w.fires("LettersMissed", true)           // no mail server is named
	w.healthy()
	if all, err := w.firing(); err != nil || all["ServiceAway"] || all["AuditBroken"] || all["BearingNearItsLimit moot-hall"] || all["StopsSoon ferry-post"] {
		t.Errorf("what is well is told of: %v, %v", all, err)
	}
}
