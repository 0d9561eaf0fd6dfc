package backup

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// sumEnd makes the name of what says the SHA-256 of a copy, as sha256sum reads it.
// Neither engine's copies have a sum of their own; encrypted ones do.
const sumEnd = ".sha256"

// sumOf is the SHA-256 of a file, in hex.
func sumOf(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("%s cannot be read to its end: %w", path, cause(err))
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// keepSum writes beside a copy, which may not have its name yet, what its SHA-256 is.
func keepSum(part, final string) error {
	sum, err := sumOf(part)
	if err != nil {
		return err
	}
	os.Remove(final + sumEnd) // of a copy that never got its name
	return writeNew(final+sumEnd, strings.NewReader(sum+"  "+filepath.Base(final)+"\n"))
}

// checkSum sees that a copy is what was made; known tells whether anything said what
// that was.
func checkSum(path string) (known bool, err error) {
	text, err := os.ReadFile(path + sumEnd)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("%s%s cannot be read: %w", path, sumEnd, cause(err))
	}
	want, _, _ := strings.Cut(strings.TrimSpace(string(text)), " ")
	sum, err := sumOf(path)
	if err != nil {
		return true, err
	}
	if !strings.EqualFold(want, sum) {
		return true, fmt.Errorf("%s is not what was made: its SHA-256 is not what %s says: take an older one, and look at the disk", path, filepath.Base(path)+sumEnd)
	}
	return true, nil
}
