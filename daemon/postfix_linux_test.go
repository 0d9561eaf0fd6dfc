package daemon

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	netmail "net/mail"
	"net/smtp"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"endshake/daemon/mail"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// postfixFolder is where Debian's package puts the programs of the server.
const postfixFolder = "/usr/lib/postfix/sbin"

// freePort is a port of this machine that nobody listens on now.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// postfix runs a private Postfix: what comes for the address for answers goes to
// inward over LMTP, as deploy/MAIL.md says, and what is for readers to the sink.
func postfix(t *testing.T, smtpd, inward, sink string) {
	t.Helper()
	if _, err := os.Stat(postfixFolder + "/master"); err != nil || os.Getuid() != 0 {
		dbtest.Need(t, "Postfix is not installed, or this is not root: apt-get install postfix, and run the test as root")
	}
	owner, err := user.Lookup("postfix")
	if err != nil {
		dbtest.Need(t, "there is no user postfix: apt-get install postfix")
	}
	dir, err := os.MkdirTemp("", "postfix")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(os.Chmod(dir, 0o755)) // its processes run as another user
	for _, d := range []string{"conf", "queue", "data", "log"} {
		must(os.Mkdir(filepath.Join(dir, d), 0o755))
	}
	out, err := exec.Command("chown", owner.Uid, filepath.Join(dir, "data")).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	at := func(addr string) string { return "[127.0.0.1]:" + addr[strings.LastIndexByte(addr, ':')+1:] }
	for name, text := range map[string]string{
		"main.cf": strings.ReplaceAll(`compatibility_level = 3.6
queue_directory = DIR/queue
data_directory = DIR/data
daemon_directory = `+postfixFolder+`
command_directory = /usr/sbin
mail_owner = postfix
setgid_group = postdrop
inet_interfaces = 127.0.0.1
inet_protocols = ipv4
myhostname = mx.example.org
mydestination =
local_transport = error:no local mail
alias_maps =
alias_database =
mynetworks = 127.0.0.0/8
maillog_file = DIR/log/mail.log
maillog_file_prefixes = DIR
recipient_delimiter = +
relay_domains = clocks.example.org
relay_recipient_maps = texthash:DIR/conf/recipients
transport_maps = texthash:DIR/conf/transport
minimal_backoff_time = 1s
maximal_backoff_time = 2s
queue_run_delay = 1s
`, "DIR", dir),
		"recipients": "answers@clocks.example.org ok\n",
		"transport":  "clocks.example.org lmtp:inet:" + at(inward) + "\nexample.org smtp:" + at(sink) + "\n",
		"master.cf": smtpd + ` inet n - n - - smtpd
pickup unix n - n 60 1 pickup
cleanup unix n - n - 0 cleanup
qmgr unix n - n 300 1 qmgr
rewrite unix - - n - - trivial-rewrite
bounce unix - - n - 0 bounce
defer unix - - n - 0 bounce
trace unix - - n - 0 bounce
verify unix - - n - 1 verify
flush unix n - n 1000? 0 flush
proxymap unix - - n - - proxymap
smtp unix - - n - - smtp
relay unix - - n - - smtp
lmtp unix - - n - - lmtp
error unix - - n - - error
retry unix - - n - - error
showq unix n - n - - showq
anvil unix - - n - 1 anvil
scache unix - - n - 1 scache
postlog unix-dgram n - n - 1 postlogd
`,
	} {
		must(os.WriteFile(filepath.Join(dir, "conf", name), []byte(text), 0o644))
	}
	conf := filepath.Join(dir, "conf")
	env := append(os.Environ(), "MAIL_CONFIG="+conf)
	check := exec.Command("postfix", "-c", conf, "check") // which makes the folders of the queue
	check.Env = env
	if out, err := check.CombinedOutput(); err != nil {
		t.Fatalf("postfix check: %v: %s", err, out)
	}
	master := exec.Command(postfixFolder+"/master", "-c", conf, "-d")
	master.Env = env
	master.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGTERM}
	var said bytes.Buffer
	master.Stdout, master.Stderr = &said, &said
	// It dies with this process: the thread that started it must live as long.
	started, over := make(chan error), make(chan struct{})
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		started <- master.Start()
		<-over
	}()
	must(<-started)
	t.Cleanup(func() {
		defer close(over)
		_ = master.Process.Signal(syscall.SIGTERM) // it ends those it started
		_ = master.Wait()
		_ = syscall.Kill(-master.Process.Pid, syscall.SIGKILL) // of its own group, whoever is left
		if t.Failed() {
			log, _ := os.ReadFile(filepath.Join(dir, "log", "mail.log"))
			t.Logf("Postfix said:\n%s%s", said.String(), log)
		}
	})
	for range 500 {
		if c, err := net.Dial("tcp", smtpd); err == nil {
			c.Close()
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatal("Postfix does not listen")
}

// TestThroughPostfix: a letter goes out through a real mail server, and the
// answer to it comes back through that server into the log.
func TestThroughPostfix(t *testing.T) {
	smtpd, inward := freePort(t), freePort(t)
	h := &house{t: t, dir: t.TempDir(), sink: mail.NewSink(100)}
	h.fill24(t)
	sink, err := h.sink.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	postfix(t, smtpd, inward, sink)
	d, err := New(context.Background(), Options{Config: Config{Database: h.dir, Listen: "127.0.0.1:0", SMTP: "smtp://" + smtpd, MailFrom: "Clock desk <desk@example.org>",
		Answers: "answers@clocks.example.org", Inward: "lmtp://" + inward, BaseURL: "http://127.0.0.1/", Zone: "Europe/London", FirstRun: true},
		Version: "test", Now: h.clock, Log: slog.New(slog.DiscardHandler), Sink: h.sink})
	if err != nil {
		t.Fatal(err)
	}
	h.Daemon = d
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	defer func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		_ = h.sink.Stop(context.Background())
	}()

	var answerTo string
	h.until("a letter that asks ned to wind", func() bool {
		for _, a := range h.sink.Arrivals() {
			m, err := netmail.ReadMessage(bytes.NewReader(a.Raw))
			if err != nil {
				t.Fatal(err)
			}
			if a.To[0] == "ned@example.org" && strings.Contains(strings.ToLower(m.Header.Get("Subject")), "wind") && m.Header.Get("Reply-To") != "" {
				list, err := m.Header.AddressList("Reply-To")
				if err != nil {
					t.Fatal(err)
				}
				answerTo = list[0].Address
				if !strings.HasPrefix(a.From, "answers+bounce-") {
					t.Errorf("its envelope sender is %s", a.From)
				}
				return true
			}
		}
		return false
	})
	raw := "From: Ned Sallowby <ned@example.org>\r\nTo: " + answerTo + "\r\nSubject: Re: wind\r\nMessage-ID: <a1@mail.example.org>\r\n\r\n" +
		"Wound it this morning, thanks\r\n\r\nOn Tue, 24 Nov 2026 at 08:00, Clock desk <desk@example.org> wrote:\r\n> Not done? Say why.\r\n"
	for range 2 { // the second is the same message again
		if err := smtp.SendMail(smtpd, nil, "ned@example.org", []string{answerTo}, []byte(raw)); err != nil {
			t.Fatal(err)
		}
	}
	var came []schedule.Inward
	h.until("the answer", func() bool {
		came, err = d.store.Inwards(context.Background(), 10)
		return err == nil && len(came) > 0 && came[0].State != schedule.Taken
	})
	if len(came) != 1 || came[0].State != schedule.Logged {
		t.Fatalf("what came in: %+v", came)
	}
	log, err := d.store.Entries(context.Background(), "moot-hall")
	if err != nil {
		t.Fatal(err)
	}
	if last := log[len(log)-1]; last.Kind != schedule.Wound || last.Source != "reply" || last.By != "ned" || last.ID != came[0].Entry {
		t.Errorf("the last entry is %+v", last)
	}
	if err := smtp.SendMail(smtpd, nil, "ned@example.org", []string{"nobody@clocks.example.org"}, []byte(raw)); err == nil {
		t.Error("the mail server takes what is for nobody")
	}
}

// fill24 puts the test fleet into a database, with a winding due on 24 November.
func (h *house) fill24(t *testing.T) {
	t.Helper()
	h.set("2026-11-24 10:00")
	data, err := os.ReadFile("testdata/fleet.json")
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	store := dbtest.Open(t, h.dir)
	defer store.Close()
	if err := store.SaveFleet(t.Context(), "test", h.clock(), fleet, nil); err != nil {
		t.Fatal(err)
	}
	if err := store.AppendAll(t.Context(), "test", h.clock().Add(-48*time.Hour), wound(t, "2018-01-01 09:00", "2026-11-17 09:00")); err != nil {
		t.Fatal(err)
	}
}

// until waits for something, 30 s at most.
func (h *house) until(what string, is func() bool) {
	h.t.Helper()
	for range 1500 {
		if is() {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	h.t.Fatalf("%s did not come in 30 s", what)
}
