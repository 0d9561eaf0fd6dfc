package mail

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"
)

// DKIM signs letters, so that a receiving server can tell that they come from
// the domain they say (RFC 6376, relaxed/relaxed; Ed25519 after RFC 8463).
type DKIM struct {
	Domain   string // that publishes the key
	Selector string // which of its keys: SELECTOR._domainkey.DOMAIN
	Key      crypto.Signer
}

// leastRSA is the least size of an RSA key in bits (RFC 8301).
const leastRSA = 1024

// dnsName is a domain or a selector, in ASCII.
var dnsName = regexp.MustCompile(`^([0-9A-Za-z]([0-9A-Za-z-]{0,61}[0-9A-Za-z])?\.)*[0-9A-Za-z]([0-9A-Za-z-]{0,61}[0-9A-Za-z])?$`)

// NewDKIM reads a private key, RSA or Ed25519, as PKCS #8 in PEM.
func NewDKIM(domain, selector string, key []byte) (*DKIM, error) {
	if !dnsName.MatchString(domain) || !strings.Contains(domain, ".") {
		return nil, fmt.Errorf("sign letters: %q is not a domain in ASCII, like clocks.example.org", domain)
	}
	if !dnsName.MatchString(selector) {
		return nil, fmt.Errorf("sign letters: %q is not a selector, like clocks2026", selector)
	}
	block, _ := pem.Decode(key)
	if block == nil || block.Type != "PRIVATE KEY" {
		return nil, errors.New("sign letters: the key is not PKCS #8 in PEM: openssl genpkey writes one, which begins with BEGIN PRIVATE KEY")
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("sign letters: the key cannot be read: %w", err)
	}
	d := &DKIM{Domain: domain, Selector: selector}
	switch k := parsed.(type) {
	case *rsa.PrivateKey:
		if k.N.BitLen() < leastRSA {
			return nil, fmt.Errorf("sign letters: an RSA key of %d bits is refused everywhere: make one of 2048", k.N.BitLen())
		}
		d.Key = k
	case ed25519.PrivateKey:
		d.Key = k
	default:
		return nil, fmt.Errorf("sign letters: a key of the kind %T signs no mail: make one of RSA or Ed25519", parsed)
	}
	return d, nil
}

// signed are the headers that a signature covers (RFC 6376 5.4.1). From stands
// once more than it occurs, so that no second one can be put in.
var signed = []string{"From", "From", "To", "Reply-To", "Subject", "Date", "Message-ID", "In-Reply-To", "References", "Auto-Submitted",
	"List-Id", "List-Unsubscribe", "List-Unsubscribe-Post", "MIME-Version", "Content-Type"}

// sign puts the signature of a message before it. The same message and now give
// the same bytes: both kinds of signature are made without chance.
func (d DKIM) sign(raw []byte, now time.Time) ([]byte, error) {
	head, body, ok := bytes.Cut(raw, []byte("\r\n\r\n"))
	if !ok {
		return nil, errors.New("sign a letter: it has no body")
	}
	kind, hash := "rsa", crypto.SHA256
	if _, ok := d.Key.Public().(ed25519.PublicKey); ok {
		kind, hash = "ed25519", crypto.Hash(0)
	}
	sum := sha256.Sum256(relaxedBody(body))
	fields := fieldsOf(string(head))
	digest := sha256.New()
	var names []string
	for _, name := range signed {
		value, there := fields[strings.ToLower(name)]
		if there {
			digest.Write([]byte(strings.ToLower(name) + ":" + relaxedValue(value) + "\r\n"))
			delete(fields, strings.ToLower(name))
		}
		if there || name == "From" {
			names = append(names, name)
		}
	}
	// Each line but the last ends where folding may stand, so that relaxing it
	// and putting the signature in is the same whoever does it.
	field := fmt.Sprintf("v=1; a=%s-sha256; c=relaxed/relaxed; d=%s; s=%s;\r\n t=%d; h=%s;\r\n bh=%s;\r\n b=",
		kind, d.Domain, d.Selector, now.Unix(), foldNames(names), base64.StdEncoding.EncodeToString(sum[:]))
	digest.Write([]byte("dkim-signature:" + relaxedValue(field)))
	sig, err := d.Key.Sign(rand.Reader, digest.Sum(nil), hash)
	if err != nil {
		return nil, fmt.Errorf("sign a letter: %w", err)
	}
	b := base64.StdEncoding.EncodeToString(sig)
	for len(b) > 72 {
		field += b[:72] + "\r\n "
		b = b[72:]
	}
	return append([]byte("DKIM-Signature: "+field+b+"\r\n"), raw...), nil
}

// foldNames lists header names, a few on each line.
func foldNames(names []string) string {
	out := ""
	for i, n := range names {
		switch {
		case i == 0:
		case i%4 == 0:
			out += ":\r\n "
		default:
			out += ":"
		}
		out += n
	}
	return out
}

// fieldsOf are the headers of a message by their names in lower case, unfolded.
// A letter of ours has each of them once.
func fieldsOf(head string) map[string]string {
	out, last := map[string]string{}, ""
	for line := range strings.SplitSeq(head, "\r\n") {
		if line != "" && (line[0] == ' ' || line[0] == '\t') {
			out[last] += line
			continue
		}
		name, value, _ := strings.Cut(line, ":")
		last = strings.ToLower(strings.TrimSpace(name))
		out[last] = value
	}
	return out
}

var blanks = regexp.MustCompile(`[ \t]+`)

// relaxedValue is a header's value as it is signed (RFC 6376 3.4.2).
func relaxedValue(v string) string {
	v = strings.ReplaceAll(v, "\r\n", "")
	return strings.Trim(blanks.ReplaceAllString(v, " "), " ")
}

// relaxedBody is a body as it is signed (RFC 6376 3.4.4).
func relaxedBody(body []byte) []byte {
	var out []string
	for line := range strings.SplitSeq(string(body), "\r\n") {
		out = append(out, strings.TrimRight(blanks.ReplaceAllString(line, " "), " "))
	}
	text := strings.TrimRight(strings.Join(out, "\r\n"), "\r\n")
	if text == "" {
		return nil
	}
	return []byte(text + "\r\n")
}
