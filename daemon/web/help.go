package web

import (
	"net/http"

	"endshake/schedule"
)

// helpPage explains the words and the forecast.
type helpPage struct {
	States []dueGroup
}

func (s *server) help(w http.ResponseWriter, r *http.Request) {
	var page helpPage
	for _, state := range schedule.TaskStates {
		page.States = append(page.States, dueGroup{State: state, Words: stateWords[state]})
	}
	s.show(w, r, http.StatusOK, "help", view{Title: "Help", Here: "/help", Body: page})
}
