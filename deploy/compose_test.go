package deploy_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v4"
)

// compose is what is read of docker-compose.yml.
type compose struct {
	Services map[string]service
	Volumes  map[string]any
}

type service struct {
	Image, Restart string
	Build          struct{ Context, Dockerfile string }
	Command        []string
	Environment    map[string]string
	Profiles       []string
	Ports, Volumes []string
	DependsOn      any      `yaml:"depends_on"`
	ReadOnly       bool     `yaml:"read_only"`
	CapDrop        []string `yaml:"cap_drop"`
	SecurityOpt    []string `yaml:"security_opt"`
	Healthcheck    any
}

// needs are the services that one waits for.
func (s service) needs() (all []string) {
	switch d := s.DependsOn.(type) {
	case []any:
		for _, name := range d {
			all = append(all, fmt.Sprint(name))
		}
	case map[string]any:
		for name := range d {
			all = append(all, name)
		}
	}
	return all
}

// readCompose reads it, with what is said once put in its places.
func readCompose(t *testing.T) compose {
	t.Helper()
	var c compose
	if err := yaml.Unmarshal([]byte(read(t, "../docker-compose.yml")), &c); err != nil {
		t.Fatal(err)
	}
	return c
}

func TestCompose(t *testing.T) {
	c := readCompose(t)
	ports := map[string]string{}
	for name, s := range c.Services {
		if tag := s.Image[strings.LastIndex(s.Image, "/")+1:]; !regexp.MustCompile(`:.*\d|:local$`).MatchString(tag) {
			t.Errorf("%s: image %q names no version", name, s.Image)
		}
		if s.Restart != "unless-stopped" {
			t.Errorf("%s does not come back by itself", name)
		}
		if s.Build.Dockerfile == "" && s.Healthcheck == nil {
			t.Errorf("%s: nobody sees whether it works", name)
		}
		for _, p := range s.Ports {
			if !strings.HasPrefix(p, "127.0.0.1:") {
				t.Errorf("%s: port %s is published beyond this machine", name, p)
			}
			host := p[:strings.LastIndex(p, ":")]
			if other := ports[host]; other != "" {
				t.Errorf("%s and %s want the same port %s", name, other, host)
			}
			ports[host] = name
		}
		for _, need := range s.needs() {
			if n, ok := c.Services[need]; !ok || len(n.Profiles) > 0 && len(s.Profiles) == 0 {
				t.Errorf("%s waits for %s, which does not start with it", name, need)
			}
		}
		for _, v := range s.Volumes {
			from, _, _ := strings.Cut(v, ":")
			if _, err := os.Stat(filepath.Join("..", from)); strings.HasPrefix(from, ".") && err != nil {
				t.Errorf("%s: %v", name, err)
			} else if _, ok := c.Volumes[from]; !strings.HasPrefix(from, ".") && !ok {
				t.Errorf("%s keeps its data in %s, which is no volume", name, from)
			}
		}
	}
	for _, name := range []string{"endshake", "endshake-two", "postgres", "prometheus", "grafana"} {
		if _, ok := c.Services[name]; !ok || len(c.Services) != 5 {
			t.Errorf("%s is missing, or another is there: %d services", name, len(c.Services))
		}
	}
	docker, err := exec.LookPath("docker")
	if err != nil || exec.Command(docker, "compose", "version").Run() != nil {
		t.Log("docker compose is not here, so its own check of the file is left out; it can be had only from Docker")
		return
	}
	for _, profile := range []string{"none", "two"} {
		if out, err := run(t, docker, "compose", "-f", "../docker-compose.yml", "--profile", profile, "config", "--quiet"); err != nil {
			t.Errorf("docker compose config: %v\n%s", err, out)
		}
	}
}

// Both daemons are shut in, on one database, and differ in where they are reached
// alone; the second does not start unasked.
func TestComposeDaemons(t *testing.T) {
	c := readCompose(t)
	one, two := c.Services["endshake"], c.Services["endshake-two"]
	for name, s := range map[string]service{"endshake": one, "endshake-two": two} {
		if !s.ReadOnly || !slices.Equal(s.CapDrop, []string{"ALL"}) || !slices.Contains(s.SecurityOpt, "no-new-privileges:true") {
			t.Errorf("%s can do more than it must: %+v", name, s)
		}
		if !slices.Contains(s.Volumes, "endshake-data:/data") || !strings.HasPrefix(s.Environment["ENDSHAKE_ERASURES"], "/data/") {
			t.Errorf("%s forgets who was erased when it is made anew: %+v", name, s)
		}
		if !strings.HasPrefix(s.Environment["ENDSHAKE_DATABASE"], "postgres://") || s.Image != one.Image {
			t.Errorf("%s serves %q with %q", name, s.Environment["ENDSHAKE_DATABASE"], s.Image)
		}
		if _, err := os.Stat(filepath.Join("..", s.Build.Context, s.Build.Dockerfile)); err != nil || s.Build.Dockerfile == "" {
			t.Errorf("%s is built from %+v: %v", name, s.Build, err)
		}
	}
	if len(one.Profiles) != 0 || !slices.Equal(two.Profiles, []string{"two"}) {
		t.Errorf("profiles %q and %q", one.Profiles, two.Profiles)
	}
	if !strings.Contains(read(t, "prometheus/prometheus.yml"), `#- targets: ["endshake-two:8080"]`) {
		t.Error("prometheus.yml has no line for the second daemon")
	}
}
