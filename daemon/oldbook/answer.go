package oldbook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// Answers are what people say of a file, by the key of the question that each
// answers: "dates" is "day-first", "unit D" is "mm". Beside these there are "leave
// out", which is "yes" where refused rows are to be left out, and "sure", the numbers
// of rows whose readings are right as written, though they were asked back.
type Answers map[string]string

// The answers that no question asks for.
const (
	leaveOut = "leave out"
	sureRows = "sure"
)

// mostAnswers bounds a file of answers, in bytes.
const mostAnswers = 256 << 10

// ParseAnswers reads answers that were kept as JSON.
func ParseAnswers(data []byte) (Answers, error) {
	if len(data) > mostAnswers {
		return nil, fmt.Errorf("answers of more than %d KB are too many: ask the file anew", mostAnswers>>10)
	}
	a := Answers{}
	d := json.NewDecoder(bytes.NewReader(data))
	if err := d.Decode(&a); err != nil || a == nil {
		return nil, errors.New(`the answers cannot be read: they are JSON like {"dates": "day-first", "unit D": "mm"}`)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("the answers are followed by something else: keep each file's apart")
	}
	return a, nil
}

// JSON writes the answers down, always in one order.
func (a Answers) JSON() []byte {
	b, err := json.MarshalIndent(a, "", "  ")
	if err != nil { // texts alone
		return nil
	}
	return append(b, '\n')
}

// With is the answers with others beside and over them.
func (a Answers) With(more Answers) Answers {
	out := maps.Clone(a)
	if out == nil {
		out = Answers{}
	}
	maps.Copy(out, more)
	return out
}

// LeaveOut reports whether refused rows are to be left out.
func (a Answers) LeaveOut() bool { return a[leaveOut] == "yes" }

// Sure are the rows whose readings are right as written.
func (a Answers) Sure() (rows []int) {
	for _, w := range strings.FieldsFunc(a[sureRows], func(r rune) bool { return r == ' ' || r == ',' }) {
		if n, err := strconv.Atoi(w); err == nil {
			rows = append(rows, n)
		}
	}
	return rows
}

// Question is what nobody can know from the file alone, asked once for all of it.
type Question struct {
	Key      string // of the answer
	Words    string
	Choices  []Choice
	Examples []Example // the first rows that raise it
	Rows     int       // how many do
	Given    string    // an answer that is none of the choices; empty: none was given
	order    int
}

// Choice is an answer that a question takes.
type Choice struct{ Value, Words string }

// Example is a cell that raises a question.
type Example struct {
	Row    int
	Column string // its letters; empty: the row as a whole
	Cell   string
}

// String prints an example: row 7, column B: “03/04/2025”.
func (e Example) String() string {
	out := "row " + strconv.Itoa(e.Row)
	if e.Column != "" {
		out += ", column " + e.Column
	}
	if e.Cell != "" {
		out += ": " + quote(e.Cell)
	}
	return out
}

const (
	mostExamples = 3
	// mostWords is how many words of a kind are asked for one by one; the others
	// are one question.
	mostWords = 40
)

// asking gathers questions.
type asking struct {
	answers Answers
	open    map[string]*Question
	settled map[string]string // answers that were found good
	words   map[string]int    // how many words were asked for of a kind
}

func newAsking(a Answers) *asking {
	return &asking{answers: a, open: map[string]*Question{}, settled: map[string]string{}, words: map[string]int{}}
}

// ask gives the answer to a question; not ok: it is still open, and stands on the
// list with the example.
func (q *asking) ask(key string, e Example, words func() (string, []Choice)) (answer string, ok bool) {
	if good, ok := q.settled[key]; ok {
		return good, true
	}
	given, answered := q.answers[key]
	if open := q.open[key]; open != nil {
		open.note(e)
		return "", false
	}
	text, choices := words()
	if answered && slices.ContainsFunc(choices, func(c Choice) bool { return c.Value == given }) {
		q.settled[key] = given
		return given, true
	}
	open := &Question{Key: key, Words: text, Choices: choices, Given: given, order: len(q.open)}
	open.note(e)
	q.open[key] = open
	return "", false
}

func (q *Question) note(e Example) {
	q.Rows++
	if len(q.Examples) < mostExamples {
		q.Examples = append(q.Examples, e)
	}
}

// askWord is ask of a word of a kind; beyond so many words all the others are asked for
// together, under KIND *.
func (q *asking) askWord(kind, word string, e Example, words func() (string, []Choice)) (answer string, ok bool) {
	key := kind + " " + word
	if _, answered := q.answers[key]; !answered && q.open[key] == nil {
		if _, all := q.answers[kind+" *"]; all || q.words[kind] >= mostWords {
			_, choices := words()
			return q.ask(kind+" *", e, func() (string, []Choice) {
				return fmt.Sprintf("There are more than %d different words like this one. What are all the others to be?", mostWords), choices
			})
		}
		q.words[kind]++
	}
	return q.ask(key, e, words)
}

// questions are those that are open, in the order in which they came up.
func (q *asking) questions() []Question {
	out := make([]Question, 0, len(q.open))
	for _, o := range q.open {
		out = append(out, *o)
	}
	slices.SortFunc(out, func(a, b Question) int { return a.order - b.order })
	return out
}

// plainWord is a word as it is compared: lower case, single spaces, no stop at the
// end, and not longer than a key may be.
func plainWord(s string) string {
	s = strings.TrimRight(strings.Join(strings.Fields(strings.ToLower(s)), " "), ".:;,!")
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60])
	}
	return s
}
