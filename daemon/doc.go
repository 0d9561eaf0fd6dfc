// Package daemon is what runs: it puts the store, the assessment, the jobs, the
// mail, the pages and the metrics together, starts them in order and stops
// them in the opposite order.
//
// It starts by opening the database and bringing its schema up to date, reads
// the fleet and the log, assesses every clock, and only then listens. While it
// runs there are three loops, each in a file of its own:
//
//   - [watch] follows changes that other processes make and the passing of time;
//   - [wake] is woken by cron every minute, works out from the database which
//     job occurrences are owed, and does them ([Jobs]), and owes the letters of
//     now ([schedule.Letters]);
//   - [post] drains the outbox over SMTP.
//
// The [Desk] holds the snapshot that pages, mail and metrics read, and is the
// only way in for a log entry.
package daemon
