// Package calendar writes tasks as days of a calendar (RFC 5545): the one
// writing code for letters and for the feed.
package calendar
