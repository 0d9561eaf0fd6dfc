package web

import (
	"strings"
	"testing"

	"endshake/schedule"
)

// A conservator does not answer in another's name by the links of their letter;
// their own stand.
func TestLinksOfOthersLetters(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	token := strings.Repeat("a2", 16)
	raw := []byte("From: clocks@example.org\r\nReply-To: answers+" + token + "@example.org\r\nSubject: Wind it\r\nMIME-Version: 1.0\r\nContent-Type: text/html; charset=utf-8\r\n\r\n<p><a href=\"https://clocks.example.org/answer/" + token + "\">Wound</a></p>\r\n")
	e.post.notices = append(e.post.notices, schedule.Notice{ID: "his", Kind: schedule.WindReminder, Person: "tom", Raw: raw, State: schedule.Sent, Created: now, SentAt: now},
		schedule.Notice{ID: "hers", Kind: schedule.WindReminder, Person: "edda", Raw: raw, State: schedule.Sent, Created: now, SentAt: now})
	b := e.in("edda")
	for path, want := range map[string]bool{"/mail/his": false, "/mail/his/html": false, "/mail/hers": true, "/mail/hers/html": true} {
		if res, body := b.get(path); res.StatusCode != 200 || strings.Contains(body, token) != want {
			t.Errorf("%s: %d, its token shows: %v", path, res.StatusCode, !want)
		}
	}
}

// Whoever shares an address can keep other wishes, and is not told with whom.
func TestSharedAddress(t *testing.T) {
	f := newFixture().fleet
	for i := range f.People {
		f.People[i].Email = "tower@example.org"
	}
	tom, _ := f.Person("tom")
	tom.Zone = "Europe/London"
	if wrong := personFault(f, tom); wrong != nil {
		t.Errorf("another wish is refused: %s", wrong.Message)
	}
	tom.Slug = "new"
	if wrong := personFault(f, tom); wrong == nil || strings.Contains(wrong.Message, "Edda") {
		t.Errorf("a new one with it: %+v", wrong)
	}
}
