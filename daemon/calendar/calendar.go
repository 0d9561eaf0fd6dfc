package calendar

import (
	"bytes"
	"fmt"
	"net/mail"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/emersion/go-ical"

	"endshake/schedule"
)

// maker is what every calendar says it was made by (RFC 5545 3.7.3).
const maker = "-//endshake//care of clocks//EN"

// Event is something to be done on a day, in whatever zone the clock stands.
type Event struct {
	UID   string        // see schedule.EventUID
	Day   schedule.Date // the whole day; zero, and no At: the event is left out
	Until schedule.Date // the last whole day; zero: Day alone
	At    time.Time     // an instant instead of a day; zero: none
	Title string        // one line
	Words string        // what else to know, with the caution; may have lines
	Where string        // place and access; empty: not said
	Page  string        // http or https address of its page; empty: none
}

// Calendar is a set of events with the name a reader's program shows.
type Calendar struct {
	Name   string
	From   *mail.Address // who publishes it (RFC 5546 3.2.1); nil: it is read from its address
	Events []Event
}

// Encode writes the calendar as it is published: nobody is invited to anything,
// nothing rings, and no day counts as taken. Lines end in CR LF and are folded
// at 75 octets between characters (RFC 5545 3.1). The same calendar and now
// give the same bytes. It fails where a text cannot be written.
func (c Calendar) Encode(now time.Time) ([]byte, error) {
	cal := ical.NewCalendar()
	cal.Props.SetText(ical.PropProductID, maker)
	cal.Props.SetText(ical.PropVersion, "2.0")
	if c.From != nil { // which that method asks for
		cal.Props.SetText(ical.PropMethod, "PUBLISH")
	}
	cal.Props.SetText(ical.PropCalendarScale, "GREGORIAN")
	if name := schedule.Visible(c.Name); name != "" {
		cal.Props.SetText("X-WR-CALNAME", name)
		cal.Props.Get("X-WR-CALNAME").Params.Del(ical.ParamValue) // which readers do not look for there
	}
	for _, e := range c.Events {
		if e.Day.IsZero() && e.At.IsZero() {
			continue
		}
		cal.Children = append(cal.Children, e.component(c.From, now))
	}
	if len(cal.Children) == 0 { // which the library takes for a mistake
		return []byte("BEGIN:VCALENDAR\r\nCALSCALE:GREGORIAN\r\nMETHOD:PUBLISH\r\nPRODID:" + maker + "\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n"), nil
	}
	var b bytes.Buffer
	if err := ical.NewEncoder(&b).Encode(cal); err != nil {
		return nil, fmt.Errorf("write the calendar: %w", err)
	}
	return fold(b.Bytes()), nil
}

func (e Event) component(from *mail.Address, now time.Time) *ical.Component {
	v := ical.NewEvent()
	v.Props.SetText(ical.PropUID, e.UID)
	v.Props.SetDateTime(ical.PropDateTimeStamp, now.UTC())
	v.Props.SetDateTime(ical.PropLastModified, now.UTC())
	if e.At.IsZero() {
		last := e.Day
		if e.Until.After(last) {
			last = e.Until
		}
		v.Props.SetDate(ical.PropDateTimeStart, e.Day.Start(time.UTC))
		v.Props.SetDate(ical.PropDateTimeEnd, last.Add(1).Start(time.UTC)) // the first day that is none of it
	} else {
		v.Props.SetDateTime(ical.PropDateTimeStart, e.At.UTC())
	}
	v.Props.SetText(ical.PropTransparency, "TRANSPARENT")
	for name, text := range map[string]string{ical.PropSummary: schedule.Visible(e.Title), ical.PropDescription: lines(e.Words), ical.PropLocation: schedule.Visible(e.Where)} {
		if text != "" {
			v.Props.SetText(name, text)
		}
	}
	if strings.HasPrefix(e.Page, "http://") || strings.HasPrefix(e.Page, "https://") {
		p := ical.NewProp(ical.PropURL)
		p.Value = schedule.Visible(e.Page)
		v.Props.Set(p)
	}
	if from != nil {
		p := ical.NewProp(ical.PropOrganizer)
		if name := strings.ReplaceAll(schedule.Visible(from.Name), `"`, "'"); name != "" {
			p.Params.Set(ical.ParamCommonName, name)
		}
		p.Value = "mailto:" + schedule.Visible(from.Address)
		v.Props.Set(p)
	}
	return v.Component
}

// lines keeps the lines of a text, each with only what can be seen.
func lines(s string) string {
	var out []string
	for line := range strings.Lines(s) {
		out = append(out, schedule.Visible(line))
	}
	return strings.Join(out, "\n")
}

// foldAt is the most octets of a line (RFC 5545 3.1).
const foldAt = 75

// fold breaks long lines: CR LF and a space, between two characters.
func fold(b []byte) []byte {
	var out bytes.Buffer
	for line := range bytes.SplitSeq(bytes.TrimSuffix(b, []byte("\r\n")), []byte("\r\n")) {
		room := foldAt
		for len(line) > room {
			n := room
			for n > 1 && !utf8.RuneStart(line[n]) {
				n--
			}
			out.Write(line[:n])
			out.WriteString("\r\n ")
			line, room = line[n:], foldAt-1
		}
		out.Write(line)
		out.WriteString("\r\n")
	}
	return out.Bytes()
}
