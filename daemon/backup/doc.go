// Package backup makes whole, checked copies of a running service's database,
// keeps as many as are wanted, and restores one into an empty place.
//
// A copy has its final name only once it was written whole, looked through and
// flushed: endshake-20261125T044000Z.db (SQLite) or .pgdump (PostgreSQL), with .age
// behind that where it is encrypted (filippo.io/age, the age format). A copy that is
// not encrypted is what any SQLite program, or pg_restore, opens too, and has its
// SHA-256 beside it, as sha256sum -c reads it. Nothing is ever
// removed but what goes by such a name and begins as such a copy does, and never the
// newest of them.
package backup
