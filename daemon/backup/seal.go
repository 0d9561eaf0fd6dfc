package backup

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"strings"

	"filippo.io/age"
)

// ReadRecipients reads who copies are encrypted for: each is a public key (age1...),
// or names a file of such keys, one a line. None: copies are not encrypted.
func ReadRecipients(list []string) (out []age.Recipient, err error) {
	for _, s := range list {
		keys := []byte(s)
		if !strings.HasPrefix(s, "age1") {
			if keys, err = os.ReadFile(s); err != nil {
				return nil, fmt.Errorf("%s is neither a public key (age1...) nor a file of such keys: %w", s, cause(err))
			}
		}
		found, err := age.ParseRecipients(bytes.NewReader(keys))
		if err != nil {
			return nil, fmt.Errorf("the public keys in %s cannot be read: write one a line, like age1...: %w", s, err)
		}
		out = append(out, found...)
	}
	return out, nil
}

// seal encrypts what is written into a new file, reads that back from the disk, and
// sees that it is what was written.
func seal(to string, recipients []age.Recipient, write func(io.Writer) error) (err error) {
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	wrote := sha256.New()
	err = encrypt(io.MultiWriter(out, wrote), recipients, write)
	if err = errors.Join(err, out.Sync(), out.Close()); err != nil {
		return fmt.Errorf("encrypt the copy: %w", err)
	}
	return sameAs(to, wrote)
}

func encrypt(w io.Writer, recipients []age.Recipient, write func(io.Writer) error) error {
	sealed, err := age.Encrypt(w, recipients...)
	if err != nil {
		return err
	}
	if err := write(sealed); err != nil {
		return err
	}
	return sealed.Close()
}

// sameAs reads a file back, and compares it with what went into it.
func sameAs(path string, wrote hash.Hash) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	read := sha256.New()
	if _, err := io.Copy(read, f); err != nil {
		return fmt.Errorf("read the copy back: %w", err)
	}
	if !bytes.Equal(read.Sum(nil), wrote.Sum(nil)) {
		return errors.New("the copy reads back as something else than was written: look at the disk")
	}
	return nil
}

// unseal decrypts a file into a new one, by the private keys in a file.
func unseal(from, to, keyFile string) error {
	in, err := unsealed(from, keyFile)
	if err != nil {
		return err
	}
	defer in.Close()
	return writeNew(to, in)
}

// unsealed is what a file holds, decrypted by the private keys in another.
func unsealed(from, keyFile string) (_ io.ReadCloser, err error) {
	if keyFile == "" {
		return nil, errors.New("the backup is encrypted: name the file that holds the private key with --key")
	}
	k, err := os.Open(keyFile)
	if err != nil {
		return nil, fmt.Errorf("--key: the file cannot be read: %w", cause(err))
	}
	defer k.Close()
	keys, err := age.ParseIdentities(k)
	if err != nil {
		return nil, fmt.Errorf("--key: %s holds no private key (AGE-SECRET-KEY-...): %w", keyFile, err)
	}
	in, err := os.Open(from)
	if err != nil {
		return nil, err
	}
	plain, err := age.Decrypt(in, keys...)
	if err != nil {
		in.Close()
		return nil, fmt.Errorf("the backup cannot be decrypted with that key: %w", err)
	}
	return struct {
		io.Reader
		io.Closer
	}{plain, in}, nil
}

// writeNew writes a file that was not there, and flushes it.
func writeNew(to string, r io.Reader) error {
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, r)
	if err = errors.Join(err, out.Sync(), out.Close()); err != nil {
		os.Remove(to)
		return fmt.Errorf("the backup cannot be read to its end, or not be written: %w", err)
	}
	return nil
}
