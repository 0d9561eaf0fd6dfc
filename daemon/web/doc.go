// Package web serves the pages of endshake: the fleet, each clock, each
// bearing with what some work on it would do, what is due, the entry forms, the
// mail room, and how good the forecasts have been.
//
// Every page reads one immutable snapshot and is rendered into memory before
// the first byte goes out, so that a fault gives a clean error page. All
// actions work without scripts, and none are sent. Entries go through the
// [Desk], which validates and stores them; this package only reads forms.
//
// Every address names what it takes to be let in, and every page reads the fleet
// as its reader may see it: a check that was forgotten shows nothing.
package web
