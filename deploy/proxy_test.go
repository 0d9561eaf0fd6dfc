package deploy_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"endshake/daemon"
)

// front is a real web server with a shipped example, on loopback.
type front struct {
	t            *testing.T
	dir          string
	plain, https string // host:port
	client       *http.Client
}

// webServer is how one is started with an example: the file that holds it, with
// DIR, FILE and MODULES put in, and the command to run.
type webServer struct {
	program, debian, example, config string
	args                             []string
}

var nginx = webServer{"nginx", "nginx-light", "proxy/nginx.conf", `
daemon off;
master_process off;
pid DIR/pid;
error_log DIR/error.log;
events {}
http {
    access_log DIR/other.log;
    client_body_temp_path DIR/body; proxy_temp_path DIR/proxy;
    fastcgi_temp_path DIR/f; uwsgi_temp_path DIR/u; scgi_temp_path DIR/s;
    include FILE;
}
`, []string{"-p", "DIR", "-e", "DIR/error.log", "-c", "DIR/main.conf"}}

var apache = webServer{"apache2", "apache2", "proxy/apache.conf", `
ServerRoot DIR
ServerName localhost
PidFile DIR/pid
Mutex file:DIR default
ErrorLog DIR/error.log
LoadModule mpm_event_module MODULES/mod_mpm_event.so
LoadModule authz_core_module MODULES/mod_authz_core.so
LoadModule alias_module MODULES/mod_alias.so
LoadModule socache_shmcb_module MODULES/mod_socache_shmcb.so
LoadModule ssl_module MODULES/mod_ssl.so
LoadModule proxy_module MODULES/mod_proxy.so
LoadModule proxy_http_module MODULES/mod_proxy_http.so
LoadModule headers_module MODULES/mod_headers.so
AcceptFilter http none
AcceptFilter https none
<IfModule unixd_module>
User www-data
</IfModule>
Listen PLAIN
Listen HTTPS
Include FILE
`, []string{"-d", "DIR", "-f", "DIR/main.conf", "-DFOREGROUND"}}

// free gives a port that was free a moment ago.
func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// certificate writes one for clocks.example.org, and gives a client that believes it,
// for which that name lies at an address.
func certificate(t *testing.T, dir, at string) *http.Client {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	one := &x509.Certificate{SerialNumber: big.NewInt(1), DNSNames: []string{"clocks.example.org"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour)}
	cert, err := x509.CreateCertificate(rand.Reader, one, one, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	for name, block := range map[string]*pem.Block{"cert.pem": {Type: "CERTIFICATE", Bytes: cert}, "key.pem": {Type: "PRIVATE KEY", Bytes: pkcs8}} {
		text := pem.EncodeToMemory(block)
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
		roots.AppendCertsFromPEM(text)
	}
	var d net.Dialer
	return &http.Client{
		Transport: &http.Transport{
			TLSClientConfig: &tls.Config{RootCAs: roots}, DisableKeepAlives: true,
			DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) { return d.DialContext(ctx, network, at) },
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Timeout:       time.Minute,
	}
}

// stand starts a web server in front of an address, and waits until it answers.
func (s webServer) stand(t *testing.T, behind string) front {
	t.Helper()
	program, err := exec.LookPath(s.program)
	if err != nil {
		program = tool(t, "/usr/sbin/"+s.program, s.debian)
	}
	dir := t.TempDir()
	f := front{t: t, dir: dir, plain: free(t), https: free(t)}
	f.client = certificate(t, dir, f.https)
	port := func(address string) string { _, p, _ := net.SplitHostPort(address); return p }
	// The example as it is shipped, but for its ports, its certificate and where its logs lie.
	example := strings.NewReplacer(
		"127.0.0.1:8080", behind, "/etc/ssl/certs/clocks.example.org.pem", dir+"/cert.pem", "/etc/ssl/private/clocks.example.org.key", dir+"/key.pem",
		"/var/log/nginx/", dir+"/", "/var/log/apache2/", dir+"/",
		"*:80>", f.plain+">", "*:443>", f.https+">",
		"listen 80;", "listen "+f.plain+";", "listen [::]:80;", "", "listen 443 ssl http2;", "listen "+f.https+" ssl http2;", "listen [::]:443 ssl http2;", "",
	).Replace(read(t, s.example))
	if strings.Count(example, behind) == 0 || strings.Count(example, port(f.https)) == 0 || strings.Contains(example, "/etc/") && strings.Contains(example, "/var/log") {
		t.Fatalf("the example is not as this test changes it:\n%s", example)
	}
	fill := strings.NewReplacer("DIR", dir, "FILE", dir+"/endshake.conf", "MODULES", "/usr/lib/apache2/modules", "PLAIN", f.plain, "HTTPS", f.https)
	for name, text := range map[string]string{"endshake.conf": example, "main.conf": fill.Replace(s.config)} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var args []string
	for _, a := range s.args {
		args = append(args, fill.Replace(a))
	}
	c := exec.Command(program, args...)
	var said strings.Builder
	c.Stdout, c.Stderr = &said, &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- c.Wait() }()
	t.Cleanup(func() {
		_ = c.Process.Signal(syscall.SIGTERM)
		<-ended
	})
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if conn, err := net.Dial("tcp", f.https); err == nil {
			conn.Close()
			return f
		}
		select {
		case err := <-ended:
			ended <- err
			log, _ := os.ReadFile(dir + "/error.log")
			t.Fatalf("%s ended: %v\n%s%s", s.program, err, said.String(), log)
		default:
		}
	}
	t.Fatalf("%s does not listen within 30 s: %s", s.program, said.String())
	panic("not reached")
}

// get asks for a path by https.
func (f front) get(path string, head http.Header) (*http.Response, string) {
	f.t.Helper()
	r, err := http.NewRequest("GET", "https://clocks.example.org"+path, nil)
	if err != nil {
		f.t.Fatal(err)
	}
	for k, v := range head {
		r.Header[k] = v
	}
	res, err := f.client.Do(r)
	if err != nil {
		f.t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		f.t.Fatal(err)
	}
	return res, string(body)
}

// logged is all that stands in its logs.
func (f front) logged() string {
	var all strings.Builder
	names, _ := filepath.Glob(filepath.Join(f.dir, "*.log"))
	for _, name := range names {
		all.WriteString(read(f.t, name))
	}
	return all.String()
}

const secretPart = "abcdefghijklmnopqrstuvwxyz234567"

// secretPaths are what a link may look like, also one that somebody changed.
func secretPaths() (all []string) {
	for _, root := range []string{"/answer/", "/decline/", "/calendar/", "/join/", "/first/", "/ANSWER/", "/%61nswer/", "//answer/"} {
		all = append(all, root+secretPart)
	}
	return all
}

// Each example, before a server that writes down what it is asked.
func TestProxies(t *testing.T) {
	for _, s := range []webServer{nginx, apache} {
		t.Run(s.program, func(t *testing.T) {
			var mu sync.Mutex
			var asked *http.Request
			behind := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				n, _ := io.Copy(io.Discard, r.Body)
				mu.Lock()
				asked = r
				mu.Unlock()
				fmt.Fprint(w, "took ", n)
			}))
			defer behind.Close()
			f := s.stand(t, behind.Listener.Addr().String())

			res, _ := f.get("/clock/moot-hall/log?kind=wound%2Fx", http.Header{"X-Forwarded-For": {"192.0.2.7"}, "Referer": {"https://clocks.example.org/calendar/" + secretPart}})
			mu.Lock()
			last := asked
			mu.Unlock()
			if res.StatusCode != 200 || last == nil {
				t.Fatalf("a page answers %d", res.StatusCode)
			}
			if last.Host != "clocks.example.org" || last.Header.Get("X-Forwarded-For") != "127.0.0.1" || last.URL.RawQuery != "kind=wound%2Fx" {
				t.Errorf("endshake is asked for %s%s by %q, want the name, the query, and the client alone", last.Host, last.URL, last.Header.Values("X-Forwarded-For"))
			}
			for _, path := range secretPaths() {
				if res, _ := f.get(path, nil); res.StatusCode != 200 {
					t.Errorf("%s answers %d", path, res.StatusCode)
				}
			}
			// A form with three pictures, as large as endshake takes it.
			res, err := f.client.Post("https://clocks.example.org/clock/moot-hall/do/wind", "text/plain", strings.NewReader(strings.Repeat("x", 37<<20)))
			if err != nil || res.StatusCode != 200 {
				t.Fatalf("a form with three pictures: %v, %v", res, err)
			}
			res.Body.Close()
			plain, err := http.NewRequest("GET", "http://"+f.plain+"/answer/"+secretPart, nil)
			if err != nil {
				t.Fatal(err)
			}
			plain.Host = "clocks.example.org"
			res, err = http.DefaultTransport.RoundTrip(plain)
			if err != nil {
				t.Fatal(err)
			}
			res.Body.Close()
			if to := res.Header.Get("Location"); res.StatusCode != 301 || to != "https://clocks.example.org/answer/"+secretPart {
				t.Errorf("plain http answers %d, to %q", res.StatusCode, to)
			}
			// While endshake is away, errors are logged, and hold no token either.
			behind.Close()
			for _, path := range append(secretPaths(), "/due") {
				if res, _ := f.get(path, nil); res.StatusCode != 502 && res.StatusCode != 503 {
					t.Errorf("with nothing behind it %s answers %d", path, res.StatusCode)
				}
			}
			checkLogged(t, f)
		})
	}
}

// checkLogged waits until the logs are written, and holds that no token is there.
func checkLogged(t *testing.T, f front) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end) && !strings.Contains(f.logged(), "/due"); time.Sleep(20 * time.Millisecond) {
	}
	logged := f.logged()
	for _, want := range []string{"/clock/moot-hall/log", "/due"} {
		if !strings.Contains(logged, want) {
			t.Errorf("the log does not hold %s, so this test sees nothing:\n%s", want, logged)
		}
	}
	for line := range strings.Lines(logged) {
		if strings.Contains(strings.ToLower(line), secretPart) || strings.Contains(line, "kind=") {
			t.Errorf("a token, or what was asked, stands in a log: %s", line)
		}
	}
}

// The service itself behind each: by its name, and by no other way in.
func TestServiceBehindProxies(t *testing.T) {
	for _, s := range []webServer{nginx, apache} {
		t.Run(s.program, func(t *testing.T) {
			f := s.stand(t, serve(t, t.TempDir(), func(o *daemon.Options) {
				o.BaseURL, o.TrustedProxies = "https://clocks.example.org/", []string{"127.0.0.1/32"}
			}))
			for path, want := range map[string]int{"/login": 200, "/healthz": 200, "/metrics": 401, "/metrics/bearings": 401, "/calendar/" + secretPart + ".ics": 404, "/": 303} {
				res, body := f.get(path, nil)
				if res.StatusCode != want {
					t.Errorf("%s answers %d, want %d: %.200s", path, res.StatusCode, want, body)
				}
				if path == "/login" && (res.Header.Get("Strict-Transport-Security") == "" || !strings.Contains(body, "<form")) {
					t.Errorf("%s is not the page for logging in: %v %.200s", path, res.Header, body)
				}
			}
		})
	}
}

// Both examples, the page beside them and README name every path that holds a
// token, and the page's figures are those of the examples.
func TestProxyWords(t *testing.T) {
	page, readme := read(t, "PROXY.md"), read(t, "../README.md")
	roots := find(regexp.MustCompile(`var linkRoots = .*`).FindString(read(t, "../daemon/web/pass.go")), `"/([a-z]+)/"`)
	if len(roots) < 5 {
		t.Fatalf("found few paths that hold a token: %q", roots)
	}
	for _, root := range roots {
		for name, text := range map[string]string{"PROXY.md": page, "README.md": readme} {
			if !strings.Contains(text, "`/"+root+"/`") {
				t.Errorf("%s does not say that /%s/ holds a token", name, root)
			}
		}
		for _, s := range []webServer{nginx, apache} {
			if !regexp.MustCompile(`\((\w+\|)*` + root + `(\|\w+)*\)/`).MatchString(read(t, s.example)) {
				t.Errorf("%s logs /%s/, where the token is the key", s.example, root)
			}
		}
	}
}
