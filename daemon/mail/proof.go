package mail

import (
	"regexp"
	"strings"

	"github.com/emersion/go-message"
)

// unproved reports whether the server that took a message from outside found its
// sender false. A server that says nothing proves nothing: then the token must do.
func unproved(h message.Header) bool {
	found := proofs(h)
	return found["dmarc=fail"] || found["spf=fail"] && !found["dkim=pass"]
}

// proofs are the results, like "spf=fail", in the fields Authentication-Results of
// the server that took a message from outside: whose name the topmost of them
// bears, as far down as they come from it. Trace fields are put on top (RFC 8601
// 4.1), so whatever stands below another server's, or below the next Received, was
// there when the message came; and a server that keeps to RFC 8601 5 takes out what
// pretends to be its own. Of each method the topmost field that has it counts.
func proofs(h message.Header) map[string]bool {
	found := map[string]bool{}
	server, began := "", false
	settled := map[string]bool{} // methods that a field above had
	for f := h.Fields(); f.Next(); {
		switch strings.ToLower(f.Key()) {
		case "received":
			if began {
				return found
			}
		case "authentication-results":
			id, results := results(f.Value())
			if began && id != server {
				return found
			}
			server, began = id, true
			for _, r := range results {
				if !settled[r.method] {
					found[r.method+"="+r.result] = true
				}
			}
			for _, r := range results {
				settled[r.method] = true
			}
		}
	}
	return found
}

// proof is what one method of proving a sender came to.
type proof struct{ method, result string }

// oneProof begins each result: method, perhaps its version, and result.
var oneProof = regexp.MustCompile(`^\s*([a-z0-9-]+)(?:\s*/\s*[0-9]+)?\s*=\s*([a-z]+)`)

// results reads a field Authentication-Results (RFC 8601 2.2): the name of the
// server, empty where it gives none, and what it found.
func results(value string) (server string, all []proof) {
	for i, part := range strings.Split(uncommented(strings.ToLower(value)), ";") {
		if m := oneProof.FindStringSubmatch(part); m != nil {
			all = append(all, proof{m[1], m[2]})
		} else if words := strings.Fields(part); i == 0 && len(words) > 0 {
			server = words[0]
		}
	}
	return server, all
}

// uncommented is a field without its comments and with nothing in its quotes: what
// stands there may be the sender's own words.
func uncommented(s string) string {
	var out strings.Builder
	depth, quoted, escaped := 0, false, false
	for _, r := range s {
		switch {
		case escaped:
			escaped = false
		case r == '\\' && (quoted || depth > 0):
			escaped = true
		case r == '"' && depth == 0:
			quoted = !quoted
			out.WriteRune(r)
		case quoted:
		case r == '(':
			depth++
		case r == ')' && depth > 0:
			depth--
			out.WriteByte(' ')
		case depth == 0:
			out.WriteRune(r)
		}
	}
	return out.String()
}
