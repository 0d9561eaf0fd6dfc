package db

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/url"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"endshake/db/failpoint"
)

// dump writes the database to a file by pg_dump, in the view that the extent is
// read in, and reads the whole file back.
func (s *Store) dump(ctx context.Context, path string, sums bool) (e Extent, err error) {
	if e, err = s.dumpView(ctx, sums, nil, "--file="+path); err != nil {
		return e, err
	}
	failpoint.Hit("K29") // all of it is written, and nothing looked at
	f, err := os.Open(path)
	if err != nil {
		return e, err
	}
	defer f.Close()
	rows, err := dumped(ctx, f)
	if err != nil {
		return e, err
	}
	return e, e.holds(rows)
}

// DumpTo is CopyTo of a server for who wants no file of it: what pg_dump writes goes
// to w, and is read as it goes there.
func (s *Store) DumpTo(ctx context.Context, w io.Writer) (e Extent, err error) {
	type counts struct {
		rows map[string]int64
		err  error
	}
	in, out := io.Pipe()
	counted := make(chan counts, 1)
	go func() {
		rows, err := dumped(ctx, in)
		counted <- counts{rows, err}
		in.CloseWithError(errors.New("nobody reads it any more"))
	}()
	e, err = s.dumpView(ctx, false, io.MultiWriter(w, out))
	if err != nil {
		select {
		case c := <-counted: // which ended the other
			if c.err != nil {
				err = c.err
			}
			return e, err
		default:
			out.CloseWithError(err)
			<-counted
			return e, err
		}
	}
	failpoint.Hit("K29")
	out.Close()
	c := <-counted
	if c.err != nil {
		return e, c.err
	}
	return e, e.holds(c.rows)
}

// dumpView has pg_dump write the database, in the view that the extent is read in.
func (s *Store) dumpView(ctx context.Context, sums bool, to io.Writer, args ...string) (e Extent, err error) {
	if err := s.haveTools(ctx); err != nil {
		return e, err
	}
	err = s.readAll(ctx, func(tx *sql.Tx) error {
		// This transaction says nothing while pg_dump works.
		if _, err := tx.ExecContext(ctx, `SET LOCAL idle_in_transaction_session_timeout = 0`); err != nil {
			return err
		}
		var view string
		if err := tx.QueryRowContext(ctx, `SELECT pg_export_snapshot()`).Scan(&view); err != nil {
			return err
		}
		if e, err = s.extent(ctx, tx); err != nil {
			return err
		}
		if sums {
			if e.Sums, err = s.sums(ctx, tx); err != nil {
				return err
			}
		}
		return s.tool(ctx, nil, to, "pg_dump", append(args, "--format=custom", "--no-owner", "--no-privileges", "--snapshot="+view)...)
	})
	if err != nil {
		return e, fmt.Errorf("copy the database: %w", err)
	}
	return e, nil
}

// holds sees that a copy has as many rows of each table as the database had.
func (e Extent) holds(rows map[string]int64) error {
	for name, n := range e.Rows {
		if rows[name] != n {
			return fmt.Errorf("the copy is not what was copied: it holds %d rows of %s, and the database held %d", rows[name], name, n)
		}
	}
	return nil
}

// dumped counts the rows of each table in what pg_dump wrote, by reading all of it.
func dumped(ctx context.Context, in io.Reader) (map[string]int64, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var said bytes.Buffer
	c := exec.CommandContext(ctx, "pg_restore", "--data-only", "--file=-")
	c.Stdin, c.Stderr = in, &said
	out, err := c.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := c.Start(); err != nil {
		return nil, toolMissing("pg_restore")
	}
	rows, err := countCopied(out)
	if err != nil {
		cancel()
		_ = c.Wait() // it was ended
		return nil, fmt.Errorf("the copy cannot be read back: %w", err)
	}
	if err := c.Wait(); err != nil {
		return nil, fmt.Errorf("the copy cannot be read back: %s", oneLine(said.String(), err))
	}
	if _, err := io.Copy(io.Discard, in); err != nil { // it need not read what says that all is there
		return nil, fmt.Errorf("the copy cannot be read back: %w", err)
	}
	return rows, nil
}

// beginsCopy is how a table begins in the text of pg_restore: each of its rows is
// then a line, up to one of a backslash and a full stop (PostgreSQL manual, COPY).
var beginsCopy = regexp.MustCompile(`^COPY (?:"(?:[^"]|"")*"|[^".]+)\.("(?:[^"]|"")*"|\S+) \(.*\) FROM stdin;$`)

// countCopied counts the rows of each table in the text of pg_restore.
func countCopied(r io.Reader) (map[string]int64, error) {
	rows := map[string]int64{}
	table, long := "", false // long: the line before was read in part
	in := bufio.NewReaderSize(r, 1<<16)
	for {
		line, err := in.ReadSlice('\n')
		rest := long
		long = errors.Is(err, bufio.ErrBufferFull)
		if err != nil && !long {
			if errors.Is(err, io.EOF) && table == "" {
				return rows, nil
			}
			if errors.Is(err, io.EOF) {
				return nil, fmt.Errorf("it ends within the table %s", table)
			}
			return nil, err
		}
		switch {
		case rest:
		case table == "":
			if m := beginsCopy.FindSubmatch(bytes.TrimRight(line, "\n")); m != nil {
				table = strings.ReplaceAll(strings.Trim(string(m[1]), `"`), `""`, `"`)
			}
		case string(line) == "\\.\n":
			table = ""
		default:
			rows[table]++
		}
	}
}

// Empty reports whether the database holds no table.
func (s *Store) Empty(ctx context.Context) (bool, error) {
	tables, err := s.tables(ctx, s.db)
	return len(tables) == 0, err
}

// Undump fills an empty PostgreSQL database with what pg_dump wrote, which open opens
// as often as it is read: all of it or nothing. It sees that as many rows came of each
// table, and gives what it holds.
func (s *Store) Undump(ctx context.Context, open func() (io.ReadCloser, error)) (e Extent, err error) {
	if err := s.haveTools(ctx); err != nil {
		return e, err
	}
	switch empty, err := s.Empty(ctx); {
	case err != nil:
		return e, err
	case !empty:
		return e, errors.New("the database is not empty, and nothing is ever restored over another: make a new one (createdb) and name that")
	}
	in, err := open()
	if err != nil {
		return e, err
	}
	want, err := dumped(ctx, in)
	in.Close()
	if err != nil {
		return e, err
	}
	if in, err = open(); err != nil {
		return e, err
	}
	defer in.Close()
	if err := s.tool(ctx, in, nil, "pg_restore", "--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction"); err != nil {
		return e, fmt.Errorf("restore: %w", err)
	}
	if err := s.refuseNewer(ctx); err != nil {
		return e, err
	}
	if e, err = s.checked(ctx); err != nil {
		return e, err
	}
	for name, n := range e.Rows {
		if want[name] != n {
			return e, fmt.Errorf("%d rows of %s were restored of %d: drop the new database, and begin again", n, name, want[name])
		}
	}
	return e, nil
}

// haveTools sees that pg_dump and pg_restore are there, and not older than the
// server, whose copies they would not understand.
func (s *Store) haveTools(ctx context.Context) error {
	var server int
	if err := s.db.QueryRowContext(ctx, `SELECT current_setting('server_version_num')::int / 10000`).Scan(&server); err != nil {
		return fmt.Errorf("ask for the version of PostgreSQL: %w", err)
	}
	for _, name := range []string{"pg_dump", "pg_restore"} {
		if _, err := exec.LookPath(name); err != nil {
			return toolMissing(name)
		}
		out, err := exec.CommandContext(ctx, name, "--version").Output()
		m := saysVersion.FindSubmatch(out)
		if err != nil || m == nil {
			return fmt.Errorf("%s does not say which version it is (%v): install PostgreSQL's client programs anew", name, err)
		}
		if has, _ := strconv.Atoi(string(m[1])); has < server {
			return fmt.Errorf("%s is of PostgreSQL %d and the server of %d: install postgresql-client-%d, whose programs can read it", name, has, server, server)
		}
	}
	return nil
}

var saysVersion = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)

func toolMissing(name string) error {
	return fmt.Errorf("%s is missing: install PostgreSQL's client programs (apt-get install postgresql-client), of the version of the server or newer", name)
}

// tool runs one of PostgreSQL's programs on this database, which reads in and writes
// to out, where they are given. Its password goes by the environment, where others on
// the machine do not see it.
func (s *Store) tool(ctx context.Context, in io.Reader, out io.Writer, name string, args ...string) error {
	address, password, err := clientAddress(s.address)
	if err != nil {
		return err
	}
	c := exec.CommandContext(ctx, name, append([]string{"--no-password", "--dbname=" + address}, args...)...)
	c.Env = os.Environ()
	if password != "" {
		c.Env = append(c.Env, "PGPASSWORD="+password)
	}
	var said bytes.Buffer
	c.Stdin, c.Stdout, c.Stderr = in, out, &said
	if err := c.Run(); err != nil {
		why := oneLine(said.String(), err)
		for _, secret := range secrets(s.address) {
			why = strings.ReplaceAll(why, secret, "xxxxx")
		}
		return fmt.Errorf("%s failed: %s", name, why)
	}
	return nil
}

// oneLine is what a program said first, or how it ended where it said nothing.
func oneLine(said string, err error) string {
	first, _, _ := strings.Cut(strings.TrimSpace(said), "\n")
	if first = strings.Join(strings.Fields(first), " "); first != "" {
		return first
	}
	return fmt.Sprint(err)
}

// clientSettings are those of an address that PostgreSQL's own programs know and
// that matter for reaching the server (manual, 34.1.2).
var clientSettings = []string{"host", "port", "user", "dbname", "sslmode", "sslrootcert", "sslcert", "sslkey", "sslcrl", "sslnegotiation",
	"channel_binding", "connect_timeout", "gssencmode", "krbsrvname", "target_session_attrs", "require_auth"}

// clientAddress is an address as PostgreSQL's own programs take it, without its
// password, and the password.
func clientAddress(address string) (clean, password string, err error) {
	u, err := url.Parse(address)
	if err != nil {
		return "", "", errors.New("the database address cannot be read")
	}
	q := u.Query()
	password, _ = u.User.Password()
	if p := q.Get("password"); p != "" {
		password = p
	}
	if q.Get("sslpassword") != "" {
		return "", "", errors.New("the database address holds sslpassword, which pg_dump takes only where others can see it: use a key without a password, which its owner alone can read")
	}
	if u.User != nil {
		u.User = url.User(u.User.Username())
	}
	maps.DeleteFunc(q, func(name string, _ []string) bool { return !slices.Contains(clientSettings, name) })
	// libpq takes a plus for a plus.
	u.RawQuery = strings.ReplaceAll(q.Encode(), "+", "%20")
	return u.String(), password, nil
}
