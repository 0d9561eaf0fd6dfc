package web

import (
	"net/http"
	"net/url"
	"strings"

	"endshake/daemon/reckon"
	"endshake/schedule"
)

// benchPage is one sheet of bench arithmetic: its questions, and its answer.
type benchPage struct {
	Sheet   reckon.Sheet
	Fields  []field
	Faults  []fault
	Answer  *reckon.Answer // nil: nothing was asked, or it is to be mended
	Example string         // address of an answer worth looking at
}

func (s *server) bench(w http.ResponseWriter, r *http.Request) {
	sheet, ok := reckon.Find(r.PathValue("sheet"))
	if !ok {
		s.nowhere(w, r)
		return
	}
	page, status := benchPage{Sheet: sheet, Example: exampleOf(sheet)}, http.StatusOK
	given := givenIn(sheet, r.URL.Query())
	if len(given) > 0 {
		answer, faults := sheet.Reckon(given, schedule.DateOf(s.Now(), s.Now().Location()))
		for _, f := range faults {
			page.Faults = append(page.Faults, fault{f.Input, sentence(schedule.Capital(f.Message))})
		}
		if len(faults) > 0 {
			status = http.StatusUnprocessableEntity
		} else {
			page.Answer = &answer
		}
	}
	page.Fields = benchFields(sheet, given, page.Faults)
	s.show(w, r, status, "bench", view{Title: sheet.Title, Here: "/reckoner", Body: page})
}

// givenIn is what an address gives of the inputs of a sheet.
func givenIn(sheet reckon.Sheet, q url.Values) map[string]string {
	given := map[string]string{}
	for _, in := range sheet.Inputs {
		if v := strings.TrimSpace(strings.ToValidUTF8(q.Get(in.Name), "\ufffd")); v != "" {
			given[in.Name] = v
		}
	}
	return given
}

// benchFields are the questions of a sheet with what was given.
func benchFields(sheet reckon.Sheet, given map[string]string, faults []fault) []field {
	var out []field
	for _, in := range sheet.Inputs {
		f := field{Name: in.Name, Label: schedule.Capital(in.What), Input: "text", Value: given[in.Name], Required: in.Needed}
		if in.Kind == reckon.Choice {
			f.Input = "select"
			if in.Usual == "" {
				f.Options = []option{{"", "not given"}}
			} else if f.Value == "" {
				f.Value = in.Usual
			}
			for _, c := range in.Choices {
				f.Options = append(f.Options, option{c, c})
			}
		} else {
			f.Hint = sentence(schedule.Capital(in.Hint()))
		}
		for _, x := range faults {
			if x.Field == in.Name && f.Fault == "" {
				f.Fault = x.Message
			}
		}
		out = append(out, f)
	}
	return out
}

// exampleOf is the address of a sheet's example.
func exampleOf(sheet reckon.Sheet) string {
	q := url.Values{}
	for name, v := range sheet.ExampleInputs() {
		q.Set(name, v)
	}
	return "/reckoner/" + sheet.Name + "?" + q.Encode()
}
