// Package metrics tells Prometheus how the clocks stand and whether the daemon
// does its work.
//
// One [Metrics] is a prometheus.Collector. What it says about clocks is made at
// each scrape from the newest snapshot and the time of the scrape, so a
// snapshot that is no longer renewed shows as growing ages and not as good
// news. What it says about jobs and mail is counted by the recording methods.
//
// Names follow the conventions of Prometheus (base units, _total on counters).
// Labels hold slugs, codes and our own words only: no names, no addresses. A
// figure that is not known is left out; there is no NaN and no infinity. A slug
// that is not valid UTF-8 is made so, and a clock or train whose label has been
// used already is left out, because a double series would cost the whole family.
//
// [Bearings] says what is known of every bearing, at an address of its own and
// written once for each snapshot: a few hundred clocks have thousands, too many
// to be made anew each minute.
//
// The label for a job is "name": Prometheus keeps "job" for what it scrapes.
package metrics
