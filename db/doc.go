// Package db keeps the fleet, the log, the jobs and the outbox in a database:
// SQLite, the default, one file beside the service; or PostgreSQL.
//
// # One store, two engines
//
// [Store] speaks one SQL text to both, with $1 placeholders. What differs is in
// dialect.go: how a database is opened, how its errors are told apart, and who
// may migrate at a time; and in the column types of the two migration folders,
// which carry the same numbers. The conformance suite of package dbtest holds
// every promise below on both.
//
//   - Times are kept in UTC to the microsecond, the finest that both keep.
//     The zero time is NULL. Days are kept as year-month-day text.
//   - Lengths are whole micrometres, forces newtons.
//   - Lists come back in the order in which they went in, and an empty list
//     comes back as nil. Order is decided here in Go or over plain ASCII, never
//     by a collation.
//   - Text holds any Unicode but NUL; NUL and broken UTF-8 are refused with a
//     sentence before anything is stored, since the engines differ on them.
//     So are NaN and the infinities, years outside 1 to 9999, and days that are
//     in no calendar: what is stored can be read again. Reading is strict in
//     turn: a row that others have put there and that cannot be read is an
//     error that names it, and not an entry that is silently missing. What serves
//     pages reads by ReadableFleet, ReadableLog and ReadableEntries, where such a row
//     is said in Clock.Damage, and takes nothing with it but its clock.
//
// # Promises
//
//   - What returned without an error is committed and flushed: it survives
//     kill -9 and, where the disk does not lie, loss of power.
//     Where the connection breaks during the commit the outcome is open. What has
//     keys (entries, notices) is then run again, which settles it; where that is
//     not to be had, and for all else, the error says so, see [Unsettled].
//   - An entry, its reading, its audit row and the notices it owes are one
//     transaction: all or none. So are a job's notices and its mark as done.
//   - The log, the audit and what the fleet taught are only ever added to:
//     triggers refuse UPDATE and DELETE, whoever asks.
//   - Each audit row carries the SHA-256 over that of the row before and what it
//     says itself; [Store.CheckAudit] names the first that does not fit. The row of
//     the revision, which every change holds, keeps the chain from forking.
//   - Who was erased ([Store.Erase]) stands nowhere but in the ledger of erasures
//     and as the short name in what they did, which is given as Erasure.Name
//     wherever it is read. Of the audit, what spoke of them is emptied; its chain
//     holds all the same.
//   - The same entry key is stored once, the same notice key is owed once; a
//     notice without a message gives way. An entry key answers only for an entry
//     that says the same.
//   - A caller's check of an entry against its log, or of a fleet against the
//     logs, is asked within the transaction that stores it: what it saw stands.
//   - An entry is replaced at most once.
//   - [Store.Revision] grows with every change of the log, the fleet or what it
//     taught, by any process, in the order of commit: a reader who has seen
//     number n has seen all that was changed up to n. The price is that changes
//     commit one after another, on PostgreSQL too.
//   - An occurrence of a job is claimed by one owner at a time, and is finished
//     only by the owner that holds it.
//   - A notice goes out at least once and at most twice; see [Store.ClaimNotices].
//   - A schema newer than this binary knows is refused, and left alone.
//
// # Concurrency
//
// A Store may be used by many goroutines, and a database by many processes.
// SQLite has one writer at a time: writers of one Store queue in Go, writers of
// other processes wait up to five seconds on the file's lock; readers never
// wait. A transaction that loses against another one (SQLite busy, PostgreSQL
// serialization failure, deadlock, or five seconds of waiting for a lock) is run
// again whole, and so is one whose connection broke before its commit; at most
// five times in all.
//
// PostgreSQL is asked on every connection to end a statement after 30 s
// (statement_timeout), a wait for a lock after 5 s (lock_timeout) and a
// transaction that has gone silent after 10 s
// (idle_in_transaction_session_timeout), so that nothing hangs for ever, and what
// a service held that was cut off is free soon. The address may set its own:
// postgres://...?statement_timeout=60000. Connecting ends after 5 s
// (connect_timeout), the wait for an answer 10 s after statement_timeout; an idle
// line whose other end is gone is noticed after 30 s. A Store has 8 connections
// (pool_max_conns) and two more, one that listens and one that asks whether the
// server answers; where the server has too many, a new one waits for its place,
// and an idle one gives its place up after a minute. Between the service and the
// server a pooler must let these settings through.
//
// Each commit that raises the revision also tells whoever listens
// ([Store.Listen]); where nobody can, as through a pooler that shares connections,
// asking for the revision now and then does.
//
// SQLite's file must lie on a local disk: its locks do not hold over a network.
//
// An owner, of a job or of a notice, is a name that no other process has, and
// that the same process does not use again after a restart.
//
// # Errors
//
// What a person can mend is a *schedule.Error with its code: an unknown clock,
// a claim that was lost, a text that cannot be stored. Everything else is
// internal.
package db
