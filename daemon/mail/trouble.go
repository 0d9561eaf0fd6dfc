package mail

import (
	"cmp"
	"fmt"
	"time"

	"endshake/schedule"
)

// troubleView is the weekly letter about mail that did not arrive.
type troubleView struct {
	frame
	Opening string
	Room    string // address of the mail room; empty: not known
	Parts   []troublePart
}

// troublePart is one kind of trouble and what to do about it.
type troublePart struct {
	Title, Do string
	Lines     []pair
}

// most lines of each kind that one letter carries; the mail room has them all.
const mostTrouble = 40

// mailTrouble puts what did not reach its reader into words.
func (w writing) mailTrouble() (content, error) {
	t := w.l.Trouble
	v := troubleView{frame: w.frame}
	if w.Base != "" {
		v.Room = w.Base + "/mail"
	}
	zone := zoneOf(w.l)
	counts := troubleCounts(*t)
	v.Opening = "Nothing is wrong with the mail."
	v.Title = "Mail: nothing is wrong"
	if len(counts) > 0 {
		v.Opening = schedule.Capital(schedule.And(counts)) + "."
		v.Title = "Mail: " + counts[0]
		if len(counts) > 1 {
			v.Title += ", and more"
		}
	}
	v.Head = "The mail of the week"
	w.n.Title = v.Title
	var letters, boxes, held, declined []pair
	for _, n := range t.Notices {
		words := fmt.Sprintf("%s, to %s, owed %s", noticeWords[n.State], readerName(w.l, n.Person), dayIn(n.Created, zone))
		switch said := clip(clean(n.Reply), maxReply); {
		case said == "":
		case n.State == schedule.Parked: // no server said that
			words += ". " + schedule.Capital(said)
		default:
			words += ". The server said: " + said
		}
		letters = append(letters, pair{cmp.Or(name(n.Title), "without a subject"), words})
	}
	for _, m := range t.Mailboxes {
		words := schedule.Count(m.Refusals, "refusal", "refusals")
		if !m.Stopped.IsZero() {
			words = "nothing is sent there since " + dayIn(m.Stopped, zone) + ", after " + words
		}
		if m.Why != "" {
			words += ". The server said: " + clip(clean(m.Why), maxReply)
		}
		boxes = append(boxes, pair{name(m.Address), words})
	}
	for _, in := range t.Held {
		words := "came " + dayIn(in.At, zone) + " from " + cmp.Or(readerName(w.l, in.Person), name(in.From), "nobody it names")
		if in.Why != "" {
			words += ". Held because: " + clean(in.Why)
		}
		held = append(held, pair{cmp.Or(name(in.Title), "without a subject"), words})
	}
	for _, d := range t.Declined {
		declined = append(declined, pair{readerName(w.l, d.Person), fmt.Sprintf("wants no more %s, since %s", cmp.Or(kindWords[d.Kind], clean(string(d.Kind))), dayIn(d.At, zone))})
	}
	v.add("Letters that did not arrive", "See why, mend it, and send each again from the mail room. Whoever was to read it does not know: telephone where it presses.", letters)
	v.add("Addresses that refuse letters", "Ask each person for an address that works, and put it into the fleet's description.", boxes)
	v.add("Answers that wait for you", "Read each, and log what it says where it is right.", held)
	v.add("Duties without letters", "Ask who is to be told in their place.", declined)
	return w.render("trouble", v, nil)
}

// add puts in one kind of trouble, where there is some.
func (v *troubleView) add(title, do string, lines []pair) {
	if len(lines) == 0 {
		return
	}
	if more := len(lines) - mostTrouble; more > 0 {
		lines = append(lines[:mostTrouble:mostTrouble], pair{"And", schedule.Count(more, "more", "more") + ", in the mail room"})
	}
	v.Parts = append(v.Parts, troublePart{title, do, lines})
}

// noticeWords says what became of a letter.
var noticeWords = map[schedule.NoticeState]string{
	schedule.Owed: "still waiting to be taken", schedule.Sending: "on its way", schedule.Sent: "taken",
	schedule.Refused: "refused", schedule.Parked: "may or may not have gone out, perhaps twice, and is not sent again by itself",
}

// troubleCounts counts what is wrong, for the subject and the opening.
func troubleCounts(t schedule.Trouble) []string {
	var out []string
	for _, c := range []struct {
		n         int
		one, many string
	}{
		{len(t.Notices), "letter did not arrive", "letters did not arrive"},
		{len(t.Mailboxes), "address refuses letters", "addresses refuse letters"},
		{len(t.Held), "answer waits for you", "answers wait for you"},
		{len(t.Declined), "person declined a duty's letters", "people declined a duty's letters"},
	} {
		if c.n > 0 {
			out = append(out, schedule.Count(c.n, c.one, c.many))
		}
	}
	return out
}

// dayIn is the day of an instant, in words.
func dayIn(t time.Time, zone *time.Location) string {
	return schedule.DateOf(t, zone).Words()
}
