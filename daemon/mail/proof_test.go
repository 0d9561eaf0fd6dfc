package mail

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/emersion/go-message"
)

func headOf(t *testing.T, head string) message.Header {
	t.Helper()
	m, err := message.Read(strings.NewReader(head))
	if err != nil {
		t.Fatal(err)
	}
	return m.Header
}

// The examples of RFC 8601, appendix B, with the results they name (from memory).
func TestResultsOfRFC8601(t *testing.T) {
	for _, c := range []struct{ value, server, want string }{
		{"example.org 1; none", "example.org", ""},                                         // B.2
		{"example.com;\r\n spf=pass smtp.mailfrom=example.net", "example.com", "spf=pass"}, // B.3
		{"example.com;\r\n auth=pass (cram-md5) smtp.auth=sender@example.net;\r\n spf=pass smtp.mailfrom=example.net", "example.com", "auth=pass spf=pass"},                                                                                                        // B.4
		{"example.com; sender-id=fail header.from=example.com;\r\n dkim=pass (good signature) header.d=example.com", "example.com", "sender-id=fail dkim=pass"},                                                                                                    // B.5, as in RFC 5451
		{"example.com;\r\n dkim=pass reason=\"good signature\"\r\n  header.i=@mail-router.example.net;\r\n dkim=fail reason=\"bad signature\"\r\n  header.i=@newyork.example.com", "example.com", "dkim=pass dkim=fail"},                                           // B.6
		{"foo.example.net (foobar) 1 (baz);\r\n dkim (Because I like it) / 1 (One yay) = (wait for it) fail\r\n policy (A dot can go here) . (like that) expired\r\n (this surprised me) = (as I wasn't expecting it) 1362471462", "foo.example.net", "dkim=fail"}, // B.7
		// What a sender chose is no result.
		{"mx.example.org; spf=fail smtp.mailfrom=\"dkim=pass; dkim=pass\"@x.example", "mx.example.org", "spf=fail"},
		{"mx.example.org; spf=fail (dkim=pass; (dkim=pass) \\) dkim=pass;) smtp.mailfrom=a", "mx.example.org", "spf=fail"},
		{"spf=fail (sender) smtp.mailfrom=a.example; dkim=none", "", "spf=fail dkim=none"}, // as some write it, with no name
		{"", "", ""}, {";;;=;", "", ""}, {"mx(", "mx", ""},
	} {
		server, all := results(c.value)
		var got []string
		for _, r := range all {
			got = append(got, r.method+"="+r.result)
		}
		if server != c.server || strings.Join(got, " ") != c.want {
			t.Errorf("%q: %q %q, want %q %q", c.value, server, got, c.server, c.want)
		}
	}
}

// All fields of the server on top count, and none that came with the message.
func TestProofs(t *testing.T) {
	const received, theirs = "Received: from out.example.net by mx.example.org\r\n", "Received: from desk by out.example.net\r\n"
	ar := func(s string) string { return "Authentication-Results: " + s + "\r\n" }
	for _, c := range []struct {
		name, head string
		want       string
		unproved   bool
	}{
		{"nothing", received, "", false},
		{"the second says that it fails", received + ar("mx.example.org; dkim=none") + ar("MX.example.org; dmarc=fail header.from=example.org") + theirs, "dkim=none dmarc=fail", true},
		{"the second makes good", received + ar("mx.example.org; spf=fail smtp.mailfrom=x") + ar("mx.example.org; dkim=pass header.d=example.org"), "dkim=pass spf=fail", false},
		{"below their own Received", received + ar("mx.example.org; spf=fail") + theirs + ar("mx.example.org; dkim=pass"), "spf=fail", true},
		{"below another's", ar("mx.example.org; spf=fail") + ar("out.example.net; spf=pass") + ar("mx.example.org; dkim=pass"), "spf=fail", true},
		{"of another server", received + ar("mx.example.org; spf=pass") + ar("out.example.net; dmarc=fail"), "spf=pass", false},
		{"a second word on one method", ar("mx.example.org; dkim=none; spf=fail") + ar("mx.example.org; dkim=pass"), "dkim=none spf=fail", true},
		{"words that hold a result", ar("mx.example.org; spf=pass (not dmarc=fail) smtp.mailfrom=dmarc=fail"), "spf=pass", false},
	} {
		r := ReadReply([]byte(c.head+"From: Ned <ned@example.org>\r\n\r\nwound\r\n"), "ned@example.org", ownNames)
		if (r.Held != "") != c.unproved {
			t.Errorf("%s: held because %q, want %v", c.name, r.Held, c.unproved)
		}
		m := headOf(t, c.head+"\r\n")
		if got := strings.Join(slices.Sorted(maps.Keys(proofs(m))), " "); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}
