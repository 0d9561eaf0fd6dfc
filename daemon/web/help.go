package web

import "net/http"

// helpPage explains the words and the forecast.
type helpPage struct {
	States []dueGroup
}

func (s *server) help(w http.ResponseWriter, r *http.Request) {
	var page helpPage
	for _, h := range headings {
		page.States = append(page.States, dueGroup{Head: h.head, Words: h.words})
	}
	s.show(w, r, http.StatusOK, "help", view{Title: "Help", Here: "/help", Body: page})
}
