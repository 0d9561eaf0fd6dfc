package daemon

import (
	"crypto/rand"
	"encoding/base32"
	"strings"
)

// NewToken makes the token of a pass: 160 bits by chance, as 32 letters and
// figures that survive a mail program and a reader's pen.
func NewToken() string {
	var b [20]byte
	_, _ = rand.Read(b[:]) // ends the program rather than fail
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}
