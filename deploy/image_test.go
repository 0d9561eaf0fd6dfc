package deploy_test

import (
	"encoding/json"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// step is one instruction of a container file.
type step struct{ word, rest string }

// stepsOf reads a container file: comments and line breaks are gone.
func stepsOf(text string) []step {
	text = regexp.MustCompile(`(?m)^\s*#.*\n?`).ReplaceAllString(text, "")
	text = strings.ReplaceAll(text, "\\\n", " ")
	var all []step
	for line := range strings.Lines(text) {
		word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		if word != "" {
			all = append(all, step{strings.ToUpper(word), strings.TrimSpace(rest)})
		}
	}
	return all
}

var secretName = regexp.MustCompile(`(?i)(password|passwd|secret|token|key)\b`)

// lint says what is wrong with a container file. What each rule is for stands in
// its words.
func lint(text string) (faults []string) {
	fault := func(format string, a ...any) { faults = append(faults, fmt.Sprintf(format, a...)) }
	stages, user, static, code := []string{}, "", false, false
	var last []step
	for _, s := range stepsOf(text) {
		words := strings.Fields(s.rest)
		switch s.word {
		case "FROM":
			from := words[0]
			if tag := path.Base(from); from != "scratch" && !slices.Contains(stages, from) && (!strings.ContainsAny(tag, ":@") || strings.HasSuffix(tag, ":latest")) {
				fault("FROM %s: name a version, or every build may come out otherwise", from)
			}
			if len(words) == 3 {
				stages = append(stages, words[2])
			}
			user, last = "", nil
		case "USER":
			user = s.rest
		case "ADD":
			fault("ADD %s: it fetches and unpacks unasked; use COPY", s.rest)
		case "COPY":
			for _, w := range words {
				if from, ok := strings.CutPrefix(w, "--from="); ok && !slices.Contains(stages, from) {
					fault("COPY --from=%s: there is no such stage", from)
				}
			}
			code = code || s.rest == ". ."
		case "ARG", "ENV":
			for _, w := range words {
				if name, _, _ := strings.Cut(w, "="); secretName.MatchString(name) {
					fault("%s %s: whoever has the image can read it", s.word, name)
				}
			}
		case "WORKDIR":
			if !path.IsAbs(s.rest) {
				fault("WORKDIR %s: say where from /", s.rest)
			}
		case "RUN":
			static = static || strings.Contains(s.rest, "CGO_ENABLED=0 go build")
			if strings.Contains(s.rest, "go mod download") && code {
				fault("RUN go mod download after all code is there: every change of it fetches the modules anew")
			}
			if regexp.MustCompile(`(curl|wget)\b.*\|`).MatchString(s.rest) {
				fault("RUN %s: it runs what it has just fetched", s.rest)
			}
		case "ENTRYPOINT", "CMD":
			if json.Unmarshal([]byte(s.rest), &[]string{}) != nil {
				fault("%s %s: there is no shell to read it; write it as a list", s.word, s.rest)
			}
		}
		last = append(last, s)
	}
	if len(last) == 0 || last[0].rest != "scratch" {
		fault("the last stage is not FROM scratch: what it holds beside the program wants looking after")
	}
	if id, err := strconv.Atoi(strings.Split(user, ":")[0]); err != nil || id == 0 {
		fault("USER %q: run as a number that is not 0; scratch knows no names", user)
	}
	if !slices.ContainsFunc(last, func(s step) bool { return s.word == "ENTRYPOINT" }) {
		fault("no ENTRYPOINT: the image does nothing by itself")
	}
	if !static {
		fault("no RUN with CGO_ENABLED=0 go build: scratch has no loader")
	}
	return faults
}

func TestImage(t *testing.T) {
	file := read(t, "Dockerfile")
	for _, f := range lint(file) {
		t.Error(f)
	}
	// Each rule notices what it is for.
	for _, c := range []struct{ old, changed, want string }{
		{"FROM golang:1.26 AS build", "FROM golang AS build", "name a version"},
		{"FROM golang:1.26 AS build", "FROM golang:latest AS build", "name a version"},
		{"USER 65532:65532\n", "", `USER ""`},
		{"USER 65532:65532", "USER 0", `USER "0"`},
		{"USER 65532:65532", "USER nobody", `USER "nobody"`},
		{"FROM scratch", "FROM debian:12", "not FROM scratch"},
		{"COPY . .", "ADD . .", "use COPY"},
		{"--from=build /etc", "--from=builder /etc", "no such stage"},
		{"ARG VERSION=dev", "ARG VERSION=dev SMTP_PASSWORD", "can read it"},
		{"WORKDIR /src", "WORKDIR src", "from /"},
		{"RUN go mod download\nCOPY . .", "COPY . .\nRUN go mod download", "anew"},
		{"RUN mkdir /out/data", "RUN curl https://example.org/x | sh", "just fetched"},
		{`ENTRYPOINT ["/endshake"]`, "ENTRYPOINT /endshake", "no shell"},
		{`ENTRYPOINT ["/endshake"]` + "\n", "", "does nothing"},
		{"CGO_ENABLED=0 go build", "go build", "no loader"},
	} {
		changed := strings.Replace(file, c.old, c.changed, 1)
		if changed == file {
			t.Errorf("the container file does not hold %q", c.old)
		}
		if got := strings.Join(lint(changed), "\n"); !strings.Contains(got, c.want) {
			t.Errorf("with %q it says %q, want %q", c.changed, got, c.want)
		}
	}
}

// What is published is what the image serves, and nothing secret or needless goes
// into the build.
func TestImageFits(t *testing.T) {
	file, compose := read(t, "Dockerfile"), read(t, "../docker-compose.yml")
	ports := find(file, `(?m)^EXPOSE (\d+)`)
	if len(ports) != 1 || !strings.Contains(compose, ":"+ports[0]+`"`) || !strings.Contains(compose, `0.0.0.0:`+ports[0]) {
		t.Errorf("the image exposes %q, docker-compose.yml serves another port", ports)
	}
	// Left out is everything, but what the program is made of, and of that what it is not.
	lines := find(read(t, "../.dockerignore"), `(?m)^([^#\s].*)$`)
	for _, name := range []string{"*", "**/.*", "**/*_test.go", "**/testdata", "**/*.db", "**/*.db-*", "**/endshake-data"} {
		if !slices.Contains(lines, name) {
			t.Errorf("%s goes into the build of the image", name)
		}
	}
	out, err := run(t, "go", "list", "-deps", "-f", `{{with .Module}}{{if .Main}}{{$.ImportPath}}{{end}}{{end}}`, "../cmd/endshake")
	if err != nil {
		t.Fatal(out)
	}
	made := append(find(out, `(?m)^endshake/(\w+)`), "go.mod", "go.sum")
	slices.Sort(made)
	if taken := find(strings.Join(lines, "\n"), `(?m)^!(.*)$`); !slices.Equal(taken, made) {
		t.Errorf("%q go into the build of the image, which is made of %q", taken, made)
	}
	if version := find(read(t, "../go.mod"), `(?m)^go (\d+\.\d+)`); !strings.Contains(file, "FROM golang:"+version[0]+" ") {
		t.Errorf("the image is built by another Go than go.mod asks for, %s", version[0])
	}
}
