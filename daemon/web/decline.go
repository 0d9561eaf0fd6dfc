package web

import (
	"fmt"
	"net/http"

	"endshake/schedule"
)

// declinePage asks whether a person will have no more mail of a kind.
type declinePage struct {
	Name, Words string
	Duty        bool // the conservator will be told
	Declined    string
	Resumed     bool // this request took it back
	Action      string
}

// mailWords says what each kind of mail is.
var mailWords = map[schedule.NoticeKind]string{
	schedule.DueList:       "the monthly list of what is due",
	schedule.LimitReminder: "reminders that a bearing comes near its limit",
	schedule.ReadAgain:     "requests to read a bearing again",
	schedule.WindReminder:  "reminders to wind",
	schedule.ChangeWeek:    "the letter before the change of time",
	schedule.Standing:      "letters that a clock stands or is locked",
	schedule.OwnersMonth:   "the owner's monthly letter",
	schedule.MailTrouble:   "the weekly letter of mail that did not arrive",
}

// declinable finds the pass of a request and whose it is, or answers why it is
// of no use.
func (s *server) declinable(w http.ResponseWriter, r *http.Request) (p schedule.Pass, person schedule.Person, ok bool) {
	if p, ok = s.pass(w, r, r.PathValue("token"), schedule.Declining); !ok {
		return p, person, false
	}
	snap, ok := s.whole(w, r)
	if !ok {
		return p, person, false
	}
	person, here := snap.Fleet.Person(p.Person)
	switch why := taken(p, s.Now()); {
	case why != "":
		s.ended(w, r, why)
	case !here || mailWords[p.Kind] == "":
		s.ended(w, r, "No such mail is sent to whoever it was given to")
	case snap.Fleet.Allow(schedule.Actor{Pass: &p}, schedule.Refuse, "") != nil:
		s.ended(w, r, "It is for no letters")
	default:
		return p, person, true
	}
	return p, person, false
}

// declineForm shows what would be declined, and changes nothing.
func (s *server) declineForm(w http.ResponseWriter, r *http.Request) {
	if p, person, ok := s.declinable(w, r); ok {
		s.showDecline(w, r, p, person, false)
	}
}

// decline has no more mail of a kind sent, or has it sent again. Mail programs
// post List-Unsubscribe=One-Click here, with no cookie and from no page (RFC
// 8058 3.2), in either encoding of a form; so whatever else comes declines too.
func (s *server) decline(w http.ResponseWriter, r *http.Request) {
	p, person, ok := s.declinable(w, r)
	if !ok {
		return
	}
	_ = r.ParseMultipartForm(mostBody) // what cannot be read does not ask for more mail
	if r.MultipartForm != nil {
		defer r.MultipartForm.RemoveAll()
	}
	act, again := s.Passes.Decline, r.PostForm.Get("again") == "yes"
	if again {
		act = s.Passes.Resume
	}
	if err := act(r.Context(), s.Now(), p.Person, p.Kind); err != nil {
		s.fault(w, r, fmt.Errorf("decline mail: %w", err))
		return
	}
	s.showDecline(w, r, p, person, again)
}

func (s *server) showDecline(w http.ResponseWriter, r *http.Request, p schedule.Pass, person schedule.Person, resumed bool) {
	all, err := s.Passes.Declined(r.Context())
	if err != nil {
		s.fault(w, r, fmt.Errorf("list what is declined: %w", err))
		return
	}
	page := declinePage{Name: personName(s.Desk.Snapshot().Fleet, person.Slug), Words: mailWords[p.Kind], Action: "/decline/" + p.Token,
		Duty: p.Kind.Duty()}
	title := "Have no more of these letters?"
	if resumed {
		page.Resumed, title = true, "You have these letters again"
	}
	for _, d := range all {
		if d.Person == p.Person && d.Kind == p.Kind {
			page.Declined, title = day(d.At, schedule.Site{Zone: person.Zone}.Location()), "No more of these letters"
		}
	}
	s.show(w, r, http.StatusOK, "decline", view{Title: title, Body: page})
}
