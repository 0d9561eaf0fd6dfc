package deploy_test

import (
	"bytes"
	"crypto/sha256"
	"debug/buildinfo"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"go.yaml.in/yaml/v4"

	"endshake/db/dbtest"
)

// tree is a copy of all that a release is made of, in a folder of its own.
func tree(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for _, name := range []string{"cmd", "daemon", "db", "schedule", "wear", "deploy"} {
		if err := os.CopyFS(filepath.Join(dir, name), os.DirFS(filepath.Join("..", name))); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"go.mod", "go.sum", "LICENSE", "README.md"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(read(t, filepath.Join("..", name))), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// sum is the SHA-256 of a file.
func sum(t *testing.T, name string) string {
	t.Helper()
	return fmt.Sprintf("%x", sha256.Sum256([]byte(read(t, name))))
}

// The binary comes out the same to the byte in whatever folder it is built, and
// holds nothing of where that was.
func TestSameBinaryAnywhere(t *testing.T) {
	flags := find(read(t, "release.sh"), `(?m)go build (-trimpath .*) -ldflags`)
	if len(flags) != 1 || !strings.Contains(read(t, "Dockerfile"), "go build "+flags[0]+" -ldflags \"-s -w -X main.version=${VERSION}\"") {
		t.Fatalf("release.sh and the Dockerfile build in different ways: %q", flags)
	}
	var sums []string
	for range 2 {
		dir := tree(t)
		c := exec.CommandContext(t.Context(), "go", append(append([]string{"build"}, strings.Fields(flags[0])...), "-ldflags", "-s -w -X main.version=v9.8.7", "-o", "out", "./cmd/endshake")...)
		c.Dir, c.Env = dir, append(os.Environ(), "CGO_ENABLED=0")
		if out, err := c.CombinedOutput(); err != nil {
			t.Fatalf("go build: %v\n%s", err, out)
		}
		file := filepath.Join(dir, "out")
		if bytes.Contains([]byte(read(t, file)), []byte(dir)) {
			t.Errorf("the binary holds the name of the folder that it was built in, %s", dir)
		}
		sums = append(sums, sum(t, file))
	}
	if here := sum(t, built(t)); sums[0] != sums[1] || sums[0] != here {
		t.Errorf("built in three folders: %v, and here %s; want the same", sums, here)
	}
}

// released is a release made of a copy of the tree, once for all tests.
var released = sync.OnceValues(func() (string, error) {
	dir := filepath.Join(binDir, "release")
	return dir, release("./", dir)
})

// release runs the script of a tree, for one kind of machine.
func release(deploy, dir string) error {
	c := exec.Command(deploy+"/release.sh", "v1.2.3", dir)
	c.Env = append(os.Environ(), "ARCHES=amd64", "SOURCE_DATE_EPOCH=1764000000")
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("release.sh: %w\n%s", err, out)
	}
	return nil
}

// madeRelease is the folder of a release; without the tools the test is skipped.
func madeRelease(t *testing.T) string {
	t.Helper()
	for name, module := range map[string]string{"nfpm": "nfpm", "cyclonedx-gomod": "cyclonedx"} {
		if _, err := exec.LookPath(name); err != nil {
			at := find(read(t, "release.sh"), `(?m)^`+module+`=(\S+)`)
			dbtest.Need(t, fmt.Sprintf("%s is missing: go install %s", name, at[0]))
		}
	}
	dir, err := released()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// A release made again, of a copy of the tree elsewhere, is the same to the byte:
// binary, package and list of parts.
func TestSameReleaseAnywhere(t *testing.T) {
	dir, again := madeRelease(t), t.TempDir()
	if err := release(filepath.Join(tree(t), "deploy"), again); err != nil {
		t.Fatal(err)
	}
	sums := read(t, filepath.Join(dir, "SHA256SUMS"))
	if other := read(t, filepath.Join(again, "SHA256SUMS")); sums != other {
		t.Errorf("made twice, the sums are\n%sand\n%s", sums, other)
	}
	names := find(sums, `(?m)^[0-9a-f]{64}  (\S+)$`)
	if want := []string{"endshake-1.2.3-linux-amd64", "endshake-1.2.3.cdx.json", "endshake_1.2.3_amd64.deb"}; !slices.Equal(names, want) {
		t.Errorf("the release holds %q, want %q", names, want)
	}
	for _, name := range names {
		if !strings.Contains(sums, sum(t, filepath.Join(dir, name))+"  "+name+"\n") {
			t.Errorf("SHA256SUMS is wrong of %s", name)
		}
	}
}

// The list of parts names every module that the binary says it is made of, each in
// its version, and Go itself.
func TestParts(t *testing.T) {
	dir := madeRelease(t)
	var list struct {
		BomFormat string
		Metadata  struct {
			Timestamp string
			Component struct{ Name, Version string }
		}
		Components []struct{ Name, Version, Purl string }
	}
	if err := json.Unmarshal([]byte(read(t, filepath.Join(dir, "endshake-1.2.3.cdx.json"))), &list); err != nil {
		t.Fatal(err)
	}
	info, err := buildinfo.ReadFile(filepath.Join(dir, "endshake-1.2.3-linux-amd64"))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"std " + strings.TrimPrefix(info.GoVersion, "go")}
	for _, m := range info.Deps {
		want = append(want, m.Path+" "+m.Version)
	}
	var got []string
	for _, c := range list.Components {
		got = append(got, c.Name+" "+strings.TrimPrefix(c.Version, "go"))
	}
	slices.Sort(want)
	slices.Sort(got)
	if list.BomFormat != "CycloneDX" || list.Metadata.Component.Version != "v1.2.3" || list.Metadata.Timestamp != "2025-11-24T16:00:00Z" || !slices.Equal(got, want) {
		t.Errorf("the list is of %+v and names\n%q\nwant\n%q", list.Metadata, got, want)
	}
	for _, m := range info.Deps {
		if strings.Contains(m.Path, "grafana") {
			t.Errorf("%s is for tests alone, and is in the binary", m.Path)
		}
	}
}

// root is an empty machine for dpkg to install on.
func root(t *testing.T) (dir string, dpkg func(args ...string) string) {
	t.Helper()
	program := tool(t, "dpkg", "dpkg")
	tool(t, "systemd-sysusers", "systemd")
	if os.Getuid() != 0 {
		dbtest.Need(t, "dpkg installs for root alone: run this test as root")
	}
	dir = t.TempDir()
	for _, name := range []string{"var/lib/dpkg/info", "var/lib/dpkg/updates", "etc"} {
		if err := os.MkdirAll(filepath.Join(dir, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "var/lib/dpkg/status"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	return dir, func(args ...string) string {
		t.Helper()
		// Its scripts are told of the root, and run without being shut into it: there is no shell.
		out, err := run(t, program, append([]string{"--root=" + dir, "--force-script-chrootless", "--force-depends", "--log=/dev/null"}, args...)...)
		if err != nil {
			t.Fatalf("dpkg %q: %v\n%s", args, err, out)
		}
		return out
	}
}

// mode is the mode of a file under a root, and 0 where there is none.
func mode(dir, name string) fs.FileMode {
	info, err := os.Lstat(filepath.Join(dir, name))
	if err != nil {
		return 0
	}
	return info.Mode()
}

// The package can be installed, again, taken off and purged; the log of the clocks
// stays whatever happens, and what the operator set stays until it is purged.
func TestPackage(t *testing.T) {
	deb := filepath.Join(madeRelease(t), "endshake_1.2.3_amd64.deb")
	about, err := run(t, tool(t, "dpkg-deb", "dpkg"), "-I", deb)
	if err != nil || !strings.Contains(about, " Version: 1.2.3\n") || !strings.Contains(about, " Architecture: amd64\n") {
		t.Errorf("dpkg-deb -I: %v\n%s", err, about)
	}
	held, err := run(t, "dpkg-deb", "-c", deb)
	if err != nil {
		t.Fatalf("dpkg-deb -c: %v\n%s", err, held)
	}
	for line := range strings.Lines(held) {
		if !strings.Contains(line, " root/root ") || regexp.MustCompile(`^.{5}w|^.{8}w|^...[sS]`).MatchString(line) {
			t.Errorf("not of root alone to change: %s", line)
		}
	}
	dir, dpkg := root(t)
	dpkg("-i", deb)
	for name, want := range map[string]fs.FileMode{
		"usr/bin/endshake": 0o755, "usr/lib/systemd/system/endshake.service": 0o644, "usr/lib/sysusers.d/endshake.conf": 0o644,
		"etc/endshake/endshake.env": 0o640, "var/lib/endshake": 0o700 | fs.ModeDir, "usr/share/doc/endshake/copyright": 0o644,
		"usr/share/doc/endshake/proxy/nginx.conf": 0o644, "usr/share/doc/endshake/OLDBOOK.md": 0o644,
		"usr/share/doc/endshake/export.schema.json": 0o644, "usr/share/doc/endshake/oldbook.example.csv": 0o644,
	} {
		if got := mode(dir, name); got != want {
			t.Errorf("%s has mode %v, want %v", name, got, want)
		}
	}
	if out, err := run(t, filepath.Join(dir, "usr/bin/endshake"), "version"); err != nil || !strings.Contains(out, "1.2.3") {
		t.Errorf("endshake version: %v, %q", err, out)
	}
	if unit := read(t, filepath.Join(dir, "usr/lib/systemd/system/endshake.service")); !strings.Contains(unit, "\nExecStart=/usr/bin/endshake serve\n") || strings.Contains(unit, "/usr/local/bin") {
		t.Errorf("the unit starts another program than the package holds:\n%s", unit)
	}
	user := func() string {
		return strings.Join(find(read(t, filepath.Join(dir, "etc/passwd")), `(?m)^(endshake:.*)$`), "\n")
	}
	before, owner := user(), ""
	if fields := strings.Split(before, ":"); len(fields) == 7 {
		owner = fields[2] + ":" + fields[3]
	}
	if out, err := run(t, "stat", "-c", "%u:%g", filepath.Join(dir, "var/lib/endshake")); err != nil || strings.TrimSpace(out) != owner {
		t.Errorf("the data's folder belongs to %q, the user is %q: %v", out, before, err)
	}

	data, env := filepath.Join(dir, "var/lib/endshake/endshake.db"), filepath.Join(dir, "etc/endshake/endshake.env")
	for _, name := range []string{data, env} {
		if err := os.WriteFile(name, []byte("the operator's own"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	stays := func(after string, settings, program bool) {
		t.Helper()
		if read(t, data) != "the operator's own" || user() != before {
			t.Errorf("%s the data or their user are gone: %q", after, user())
		}
		if b, err := os.ReadFile(env); settings != (err == nil && string(b) == "the operator's own") {
			t.Errorf("%s the settings are %q, %v", after, b, err)
		}
		if got := mode(dir, "usr/bin/endshake") != 0; got != program {
			t.Errorf("%s the program is there: %v", after, got)
		}
	}
	dpkg("-i", deb)
	stays("installed again,", true, true)
	dpkg("--remove", "endshake")
	stays("taken off,", true, false)
	if out := dpkg("--purge", "endshake"); !strings.Contains(out, "the data stay in") {
		t.Errorf("purged, it does not say that the data stay: %s", out)
	}
	stays("purged,", false, false)
}

// All that is written for people who run the service, with the examples that it
// names, is in the package, beside one another as here.
func TestPackageHoldsWhatIsRead(t *testing.T) {
	var config struct{ Contents []struct{ Src, Dst string } }
	if err := yaml.Unmarshal([]byte(read(t, "nfpm.yaml")), &config); err != nil {
		t.Fatal(err)
	}
	const doc = "/usr/share/doc/endshake/"
	held := map[string]string{}
	for _, c := range config.Contents {
		held[c.Src] = c.Dst
	}
	var want []string
	for _, pattern := range []string{"*.md", "*.json", "*.csv", "prometheus/*.yml", "grafana/*.json"} {
		names, err := filepath.Glob(pattern)
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %q, %v", pattern, names, err)
		}
		want = append(want, names...)
	}
	for _, name := range want {
		if !strings.HasSuffix(name, "_test.yml") && held["deploy/"+name] != doc+name {
			t.Errorf("%s goes to %q in the package, want %s", name, held["deploy/"+name], doc+name)
		}
	}
	// What README.md names of this folder is there, or is what the package is made with.
	for _, name := range find(read(t, "../README.md"), `\(deploy/([^)]+)\)`) {
		if made := []string{"release.sh", "endshake.service"}; !slices.Contains(made, name) && held["deploy/"+name] != doc+name {
			t.Errorf("README.md names deploy/%s, which is not in the package", name)
		}
	}
}

// What cannot be released is refused in one sentence.
func TestReleaseRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "say which version and where to"},
		{[]string{"1.2.3"}, "say which version and where to"},
		{[]string{"one", t.TempDir()}, `"one" is no version`},
		{[]string{"1.2", t.TempDir()}, `"1.2" is no version`},
		{[]string{"1.2.3/../x", t.TempDir()}, "is no version"},
	} {
		out, err := run(t, "./release.sh", c.args...)
		if err == nil || !strings.Contains(out, c.want) || strings.Count(out, "\n") != 1 {
			t.Errorf("release.sh %q: %v, %q; want a failure with %q", c.args, err, out, c.want)
		}
	}
}
