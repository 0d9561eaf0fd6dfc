package daemon

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"endshake/daemon/mail"
	"endshake/schedule"
)

// cameIn is all that bears on what becomes of a message that came in.
type cameIn struct {
	schedule.Inward
	reply mail.Reply
	own   mail.Own
	snap  *schedule.Snapshot
	// pass is that of the token in the address; nil: it has none that is known.
	pass *schedule.Pass
	// letter is the notice that a report is about; nil: none that is known.
	letter *schedule.Notice
}

// verdict is what is to become of a message that came in.
type verdict struct {
	state  schedule.InwardState
	why    string // in words
	person string
	clock  string
	notice string
	entry  *schedule.Entry // to be logged; nil: none
	logged string          // ID of the entry that came of it before a kill; empty: none
	blame  schedule.Blame  // of the address that a letter came back from
	tell   bool            // the sender is told that it is held
	way    mail.Way        // and how they can have it logged
}

// judge decides what becomes of a message. It is held, for a person to decide,
// wherever anything about it is not certain.
func judge(m cameIn) verdict {
	v := verdict{}
	if m.pass != nil {
		v.person, v.clock, v.notice = m.pass.Person, m.pass.Clock, m.pass.Notice
	}
	if m.reply.Report != nil || m.own.BounceOf(m.To) != "" {
		return m.report(v)
	}
	if m.reply.Auto != "" {
		return v.as(schedule.PassedBy, m.reply.Auto)
	}
	sender, known := m.sender()
	if v.person == "" {
		v.person = sender.Slug
	}
	if m.reply.Marked != "" { // nobody is told: a robot would answer
		answers := m.pass != nil && m.pass.Deed == schedule.Answering
		if !known && !answers || m.reply.Words() == "" && m.reply.Held == "" {
			return v.as(schedule.PassedBy, m.reply.Marked)
		}
		return v.held("a program may have written it: %s", m.reply.Marked)
	}
	v.tell = known
	after, _ := m.own.After(m.To)
	switch {
	case m.reply.From == "":
		v.tell = false
		return v.held("%s", m.reply.Held)
	case m.pass == nil && after == "":
		return v.by(mail.ByNewer).held("it came without the mark of the letter that it answers")
	case m.pass == nil:
		return v.by(mail.ByNewer).held("the mark in the address it came to is of no letter here: it may be cut off")
	case m.pass.Deed != schedule.Answering:
		return v.by(mail.ByNewer).held("the mark in the address it came to is not for answers")
	}
	holder, ok := m.snap.Fleet.Person(m.pass.Person)
	if !ok || holder.Email == "" {
		return v.held("the letter it answers went to somebody who has no mail address here now")
	}
	if !sameMailbox(holder.Email, m.reply.From) {
		v.tell = false // whoever wrote it got the letter from its reader, or is not who they say
		return v.held("it answers a letter to %s, but comes from %s", holder.Name, m.reply.From)
	}
	if m.reply.Held != "" {
		return v.held("%s", m.reply.Held)
	}
	if m.pass.Clock == "" {
		return v.by(mail.ByLinks).held("the letter it answers asks for more than one thing, and an answer by mail cannot tell which")
	}
	a, ok := m.snap.Clock(m.pass.Clock)
	if !ok {
		return v.by(mail.ByNewer).held("the clock it is about is not in care here any more")
	}
	if used, ok := m.pass.Used(a.Entries); ok && m.isOurs(used) {
		v.logged = used.ID
		return v.as(schedule.Logged, loggedWords(used))
	}
	return m.answer(v, holder, a)
}

// answer decides what becomes of a reply whose sender and letter are certain.
func (m cameIn) answer(v verdict, holder schedule.Person, a schedule.Assessment) verdict {
	ans, err := readBoth(m.reply, holder)
	if used, ok := m.pass.Used(a.Entries); ok && err == nil && m.saysTheSame(ans, a, used) {
		v.tell = false
		return v.as(schedule.PassedBy, "it says once more what was logged on "+schedule.DateOf(used.At, a.Zone).Words())
	}
	if err == nil {
		if err := m.pass.Open(a, m.snap.Fleet, m.At); err != nil {
			return v.by(mail.ByNewer).held("%s", err)
		}
	}
	if err != nil {
		return v.held("%s", err)
	}
	if len(ans.Tasks) > 0 && !slices.Contains(ans.Tasks, m.pass.Task) {
		return v.held("it speaks of %s, and the letter asked for %s", tasksWords(ans.Tasks), m.pass.Task)
	}
	if choices := m.pass.Choices(a); !slices.Contains(choices, ans.Said) {
		if len(choices) == 0 {
			return v.by(mail.ByNewer).held("what there is to say of this is more than a word can hold")
		}
		return v.held("%q is no answer to %s", ans.Said, m.pass.Task)
	}
	if ans.Said == schedule.SaidNot && ans.Because == "" {
		ans.Because = strings.Join(strings.Fields(m.reply.Words()), " ")
	}
	if err := m.pass.Doubt(ans, a); err != nil {
		return v.by(mail.ByLinks).held("%s", err)
	}
	ans.At = m.written()
	if ans.At.Before(m.pass.Made) && ans.At.Before(m.At) {
		return v.held("it bears the date of %s, which is before the letter that it answers", schedule.DateOf(ans.At, a.Zone).Words())
	}
	e, err := m.pass.Entry(ans, a, m.At)
	if err == nil {
		err = m.snap.Fleet.AllowEntry(schedule.Actor{Pass: m.pass}, e, nil, m.At)
	}
	if refused, ok := err.(*schedule.Error); ok && refused.Field == "pass" {
		v = v.by(mail.ByLinks)
	}
	if err != nil {
		return v.held("%s", err)
	}
	e.Source = "reply"
	v.entry = &e
	return v.as(schedule.Logged, loggedWords(e))
}

// readBoth reads the words of a reply, and holds one whose text and HTML do not
// come to the same.
func readBoth(r mail.Reply, holder schedule.Person) (schedule.Answer, error) {
	ans, err := schedule.ReadAnswer(r.Words(), holder.Units)
	if r.Text == "" || r.HTML == "" || err != nil {
		return ans, err
	}
	other, otherErr := schedule.ReadAnswer(r.HTML, holder.Units)
	if otherErr != nil || other.Said != ans.Said || other.Cause != ans.Cause || other.Whole != ans.Whole || !reflect.DeepEqual(other.Reading, ans.Reading) || !reflect.DeepEqual(other.Error, ans.Error) || !slices.Equal(other.Tasks, ans.Tasks) {
		return ans, &schedule.Error{Code: schedule.Doubtful, Message: "its plain text and its HTML do not say the same"}
	}
	return ans, nil
}

// report decides what becomes of a delivery report, or of what came to an
// address for them.
func (m cameIn) report(v verdict) verdict {
	r := m.reply.Report
	if m.letter != nil {
		v.notice, v.person, v.clock = m.letter.ID, m.letter.Person, m.letter.Clock
	}
	switch {
	case r == nil && m.reply.Auto+m.reply.Marked != "":
		return v.as(schedule.PassedBy, cmp.Or(m.reply.Auto, m.reply.Marked))
	case r == nil:
		return v.held("it came to the address for letters that did not arrive, and is no report of one")
	case m.letter == nil:
		return v.as(schedule.PassedBy, "it reports on a letter that is none of ours")
	case r.Action == "failed":
		v.blame = schedule.BlameFor(r.Status)
		return v.as(schedule.Bounced, strings.TrimSpace(fmt.Sprintf("the letter to %s did not arrive: %s %s", m.letter.To, r.Status, r.Words)))
	case r.Action == "":
		return v.as(schedule.PassedBy, "it reports on a letter, in a form that is not understood")
	}
	return v.as(schedule.PassedBy, strings.TrimSpace(fmt.Sprintf("the letter to %s is reported as %s: %s %s", m.letter.To, r.Action, r.Status, r.Words)))
}

func (v verdict) as(state schedule.InwardState, why string) verdict {
	v.state, v.why = state, shortened(why)
	return v
}

// by says how what is held can be logged all the same.
func (v verdict) by(w mail.Way) verdict {
	v.way = w
	return v
}

func (v verdict) held(format string, args ...any) verdict {
	return v.as(schedule.Held, fmt.Sprintf(format, args...))
}

// shortened keeps a reason within a line or two.
func shortened(s string) string {
	s = strings.Join(strings.Fields(strings.ToValidUTF8(strings.ReplaceAll(s, "\x00", ""), "\ufffd")), " ")
	if r := []rune(s); len(r) > 400 {
		return string(r[:400]) + "…"
	}
	return s
}

// sender finds the person whose address a message is from.
func (m cameIn) sender() (schedule.Person, bool) {
	for _, p := range m.snap.Fleet.People {
		if p.Email != "" && sameMailbox(p.Email, m.reply.From) {
			return p, true
		}
	}
	return schedule.Person{}, false
}

// sameMailbox reports whether two addresses are of one mailbox: no server that
// matters tells capitals from small letters.
func sameMailbox(a, b string) bool {
	x, err := schedule.ParseMail(a)
	if err != nil {
		return false
	}
	y, err := schedule.ParseMail(b)
	return err == nil && strings.EqualFold(x.Address, y.Address)
}

// isOurs reports whether an entry came of this very message, before a kill.
func (m cameIn) isOurs(e schedule.Entry) bool {
	return e.Source == "reply" && e.By == m.pass.Person && e.At.Equal(m.written().UTC().Truncate(time.Microsecond))
}

// lateReply is how much later than it was written a reply comes before its own
// date is taken for when it was written: sooner the clock of who wrote it may
// only be wrong (judgement, no source).
const lateReply = 2 * time.Hour

// written is when a reply was written: when it came, or its own date where it
// lay for long on its way, as from a tower without a signal.
func (m cameIn) written() time.Time {
	if d := m.reply.Date; !d.IsZero() && m.At.Sub(d) > lateReply {
		return d
	}
	return m.At
}

// saysTheSame reports whether an answer comes to what a pass has logged already.
func (m cameIn) saysTheSame(ans schedule.Answer, a schedule.Assessment, used schedule.Entry) bool {
	e, err := m.pass.Entry(ans, a, m.At)
	return err == nil && e.Key == used.Key && e.Kind == used.Kind && e.Cause == used.Cause && reflect.DeepEqual(e.Reading, used.Reading) &&
		(e.ErrorFound == nil || reflect.DeepEqual(e.ErrorFound, used.ErrorFound))
}

func loggedWords(e schedule.Entry) string { return "logged as " + string(e.Kind) }

func tasksWords(kinds []schedule.TaskKind) string {
	words := make([]string, len(kinds))
	for i, k := range kinds {
		words[i] = string(k)
	}
	return strings.Join(words, " or ")
}
