package web

import (
	"fmt"
	"net/http"

	"endshake/schedule"
)

// helpPage explains the words and the forecast.
type helpPage struct {
	States []dueGroup
}

func (s *server) help(w http.ResponseWriter, r *http.Request) {
	var page helpPage
	for _, h := range headings {
		if h.head == string(schedule.Ahead) { // on the due-list only some of it
			h.words = fmt.Sprintf("its first good day is still to come. The due-list shows what opens within %d days; a clock's year shows twelve months, with what is ahead as hollow bars", daysAhead)
		}
		page.States = append(page.States, dueGroup{Head: h.head, Words: h.words})
	}
	s.show(w, r, http.StatusOK, "help", view{Title: "Help", Here: "/help", Body: page})
}
