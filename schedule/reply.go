package schedule

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"endshake/wear"
)

// longestReply is the most of an answer that is read, in runes: more is a letter
// for a person to read (judgement, no source).
const longestReply = 600

// A reading with no unit is taken in the reader's own unit only where it is a
// likely freedom in that unit and in no other (judgement, no source).
const leastLikely, mostLikely = 20 * wear.Micrometre, 3 * wear.Millimetre

// mostRead is the largest reading taken from a reply; sameWithin is how far the same
// reading given in two units may differ by rounding: half a thou.
const mostRead, sameWithin = 20 * wear.Millimetre, 13 * wear.Micrometre

// ReadAnswer reads the words of a reply, short and in English, without the letter
// that it quotes and without a signature. Units is the unit that its writer
// reads in. What could mean two things is an error of one sentence that says why
// the reply must wait for a person to read it: a wrong entry is worse than none.
func ReadAnswer(text string, units wear.Unit) (Answer, error) {
	r, err := newReply(text)
	if err != nil {
		return Answer{}, err
	}
	ans, err := r.answer(units)
	if r.error != nil && err == nil {
		if ans.Said != SaidDone && ans.Said != SaidWell {
			return Answer{}, heldFor("errorFound", "it tells an error beside something else than that it was done")
		}
		ans.Error = r.error
	}
	return ans, err
}

// answer makes out what the sayings come to, but for the error that they tell.
func (r *reply) answer(units wear.Unit) (Answer, error) {
	switch {
	case r.nots > 0 && (len(r.done) > 0 || r.wells > 0 || r.stops > 0 || len(r.figures) > 0):
		return Answer{}, heldFor("", "it says both that it was not done and something that was")
	case r.nots > 0:
		return r.notDone()
	}
	for _, c := range r.clauses {
		if w, ok := c.any(negations); ok {
			return Answer{}, heldFor(w, "it says %q, and what that turns round is not certain", w)
		}
		if w, ok := c.any(unsure); ok {
			return Answer{}, heldFor(w, "by the word %q it may mean more than one thing", w)
		}
	}
	switch {
	case r.stops > 0 && (len(r.done) > 0 || r.wells > 0 || len(r.figures) > 0):
		return Answer{}, heldFor("", "it says that the clock stopped and something else as well")
	case r.stops > 0:
		return r.stopped()
	case len(r.figures) > 0:
		return r.reading(units)
	case len(r.done) > 0:
		return r.wasDone()
	case r.wells > 0:
		return r.well(nil)
	}
	return Answer{}, heldFor("", "it does not say in plain English words what was done")
}

// heldFor says why a reply is not taken as it stands.
func heldFor(field, format string, args ...any) error {
	return &Error{Doubtful, field, fmt.Sprintf(format, args...)}
}

// saying is what stands between two marks of a reply.
type saying struct {
	raw   string   // as written
	words []string // in small letters, short forms written out, phrases as one sign
}

// The signs that stand for phrases and figures.
const (
	signNot, signWell, signEnd, signSide = "¬", "✓", "end-shake", "side-shake"
	signTime, signFigure                 = "#", "№"
)

func (c saying) any(set map[string]bool) (string, bool) {
	for _, w := range c.words {
		if set[w] {
			return w, true
		}
	}
	return "", false
}

// reply is a reply taken apart, with what it claims counted.
type reply struct {
	clauses     []saying
	done        []string // the words of deeds
	nots, wells int
	stops       int
	figures     []string // with their units, as written
	error       *float64 // found, in seconds, + fast; nil: it tells none
	first       bool     // it begins with that it was not done
	undone      []string // the words of what was not done
}

// figureForm is a time of day, or a number with its unit where one follows.
var figureForm = regexp.MustCompile(`(?i)(?:\bat )?\b\d{1,2}(?:[:.]\d{2})? ?(?:am|pm|o'clock)\b|\b\d{1,2}:\d{2}\b|` +
	`([-+~±<>≈]?(?:\d+ +\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)*|\.\d+)(?: ?(?:millimet(?:re|er)s?|mm|um|µm|μm|inches|inch|thou|in|"))?)`)

// newReply takes a reply apart. An error says why nothing can be made of it.
func newReply(text string) (*reply, error) {
	text = strings.TrimSpace(lookalikes.Replace(strings.ToValidUTF8(text, "\ufffd")))
	switch {
	case text == "":
		return nil, heldFor("", "there are no words of the writer's own in it")
	case utf8.RuneCountInString(text) > longestReply:
		return nil, heldFor("", "it is longer than a short answer")
	case strings.ContainsAny(text, "?？؟"):
		return nil, heldFor("", "it asks a question")
	case strings.ContainsAny(text, "¬✓№#\ufffd"):
		return nil, heldFor("", "it holds signs that cannot be read")
	}
	r := &reply{}
	for _, raw := range sayings(unsigned(text)) {
		if told, err := r.tellsError(raw); err != nil {
			return nil, err
		} else if told {
			continue
		}
		c, err := r.read(raw, !slices.ContainsFunc(r.clauses, func(c saying) bool { return !notFirst.MatchString(strings.Join(c.words, " ")) }))
		if err != nil {
			return nil, err
		}
		if len(c.words) > 0 {
			r.clauses = append(r.clauses, c)
		}
	}
	return r, nil
}

// ofTheHands stands before an error in a sentence.
var ofTheHands = regexp.MustCompile(`(?i)^(?:(?:the )?(?:clock|hands|it) )?(?:(?:was|were|is) )?(?:found )?(?:about )?`)

// tellsError reads a saying that is an error and nothing else, with its word.
func (r *reply) tellsError(raw string) (bool, error) {
	low := strings.ToLower(raw)
	if !strings.Contains(low, Fast) && !strings.Contains(low, Slow) {
		return false, nil
	}
	v, way, err := ParseDialError(raw[len(ofTheHands.FindString(raw)):])
	var two *Error
	switch {
	case errors.As(err, &two) && two.Code == Doubtful:
		return false, heldFor("errorFound", "%s", two.Message)
	case err != nil || way == "":
		return false, nil
	case r.error != nil:
		return false, heldFor("errorFound", "it tells two errors")
	case way == Slow:
		v = -v
	}
	r.error = &v
	return true, nil
}

// signedName is a last line that is a name and nothing else.
var signedName = regexp.MustCompile(`\n[ \n]*-{0,2} ?\p{Lu}[\p{L}'-]*\.?(?: \p{Lu}[\p{L}'-]*\.?){0,2} *$`)

// unsigned is a reply without the name below it.
func unsigned(text string) string {
	at := signedName.FindStringIndex(text)
	if at == nil {
		return text
	}
	for w := range strings.FieldsFuncSeq(strings.ToLower(text[at[0]:]), func(r rune) bool { return !unicode.IsLetter(r) }) {
		_, deed := deeds[w]
		_, cause := causes[w]
		if deed || cause || unsure[w] || trouble[w] || negations[w] || stopWords[w] || plain[w] {
			return text
		}
	}
	return text[:at[0]]
}

// sayings parts a text at its marks, but not within a figure.
func sayings(text string) (out []string) {
	from, at := 0, 0
	flush := func(to int) {
		if s := strings.Trim(text[from:to], " \n*•-\"'"); s != "" {
			out = append(out, strings.TrimSpace(strings.Trim(text[from:to], " \n*•")))
		}
	}
	for _, f := range append(figureForm.FindAllStringIndex(text, -1), []int{len(text), len(text)}) {
		for at < f[0] {
			n := strings.IndexAny(text[at:f[0]], ".,;:!()[]/\n")
			if d := strings.Index(text[at:f[0]], " - "); d >= 0 && (n < 0 || d < n) {
				n = d + 1
			}
			if n < 0 {
				break
			}
			flush(at + n)
			at += n + 1
			from = at
		}
		at = f[1]
	}
	flush(len(text))
	return out
}

// read reads one saying; first: nothing that says anything stands before it.
func (r *reply) read(raw string, first bool) (saying, error) {
	c := saying{raw: raw}
	low := strings.ToLower(raw)
	var err error
	low = replaceFigures(low, func(f string, next rune) string {
		switch {
		case strings.HasSuffix(f, " in") && unicode.IsSpace(next), unicode.IsLetter(next) || unicode.IsDigit(next) || strings.ContainsRune("/%°'\"-", next):
			err = cmp.Or(err, heldFor("", "the figure in %q is not understood", clipped(raw)))
		}
		r.figures = append(r.figures, f)
		return " " + signFigure + " "
	})
	if err != nil {
		return c, err
	}
	low = strings.Join(strings.Fields(shortForms.Replace(low)), " ")
	low = wellWords.ReplaceAllString(low, signWell)
	if at := notWords.FindStringIndex(low); at != nil && first && notFirst.MatchString(low[:at[0]]) {
		r.first = true
	}
	for _, not := range notWords.FindAllString(low, -1) {
		for w := range strings.FieldsSeq(not) {
			if undone[w] != nil {
				r.undone = append(r.undone, w)
			}
		}
	}
	low = notWords.ReplaceAllString(low, signNot)
	low = shakeOff.ReplaceAllString(shakeEnd.ReplaceAllString(low, signEnd), signSide)
	for w := range strings.FieldsSeq(low) {
		if w = strings.Trim(w, `-"'*•=&_`); w == "" {
			continue
		}
		c.words = append(c.words, w)
		_, deed := deeds[w]
		switch {
		case w == signNot:
			r.nots++
		case w == signWell:
			r.wells++
		case stopWords[w]:
			r.stops++
		case deed:
			r.done = append(r.done, w)
		}
	}
	if r.courtesy(c) {
		c.words = nil
	}
	return c, nil
}

// replaceFigures hands every number to number, and puts a sign for each time of day.
func replaceFigures(s string, number func(f string, next rune) string) string {
	var b strings.Builder
	at := 0
	for _, m := range figureForm.FindAllStringSubmatchIndex(s, -1) {
		b.WriteString(s[at:m[0]])
		at = m[1]
		if m[2] < 0 {
			b.WriteString(" " + signTime + " ")
			continue
		}
		next, _ := utf8.DecodeRuneInString(s[at:])
		if prev, _ := utf8.DecodeLastRuneInString(s[:m[0]]); unicode.IsLetter(prev) {
			next = 'x' // a number that is part of a word is none
		}
		if s[at:] == "" || strings.TrimSpace(s[at:]) == "" {
			next = 0
		}
		b.WriteString(number(s[m[2]:m[3]], next))
	}
	return b.String() + s[at:]
}

// courtesy reports whether a saying is a greeting or a thank-you.
func (r *reply) courtesy(c saying) bool {
	if !slices.ContainsFunc(c.words, func(w string) bool { return !courtesies[w] }) {
		return true
	}
	if g := c.words[0]; (g == "hi" || g == "hello" || g == "dear" || g == "morning") && len(c.words) <= 3 {
		for _, w := range c.words[1:] {
			if _, deed := deeds[w]; deed || plain[w] || unsure[w] || trouble[w] || negations[w] || stopWords[w] || strings.ContainsAny(w, "¬✓№") {
				return false
			}
		}
		return true
	}
	return false
}

// beside joins the clauses that say more than the claim.
func (r *reply) beside(claim func(saying) bool) string {
	var out []string
	for _, c := range r.clauses {
		if !claim(c) {
			out = append(out, strings.Join(strings.Fields(c.raw), " "))
		}
	}
	return strings.Join(out, ", ")
}

// notDone is the answer that it was not done, with the reason.
func (r *reply) notDone() (Answer, error) {
	if !r.first {
		return Answer{}, heldFor("", "it says somewhere that something was not done, but does not begin with it")
	}
	for _, c := range r.clauses {
		at := slices.Index(c.words, signNot)
		if at < 0 {
			continue
		}
		for _, w := range c.words[at:] {
			if beforeNot[w] {
				return Answer{}, heldFor(w, "beside %q it is not certain what was not done", w)
			}
		}
	}
	rest := r.beside(func(c saying) bool {
		return !wayIn.MatchString(c.raw) && !slices.ContainsFunc(c.words, func(w string) bool { return w != signNot && !plain[w] && w != "yet" && w != "sorry" })
	})
	a := Answer{Said: SaidNot, Because: rest}
	for _, w := range r.undone {
		if a.Tasks != nil && !slices.Equal(a.Tasks, undone[w]) {
			return a, heldFor(w, "it names two tasks that were not done, %q and %q", r.undone[0], w)
		}
		a.Tasks = undone[w]
	}
	return a, nil
}

// stopped is the answer that the clock stands.
func (r *reply) stopped() (Answer, error) {
	a := Answer{Said: SaidStopped}
	if r.stops > 1 {
		return a, heldFor("stopped", "it speaks of more than one stop")
	}
	found := map[StopCause]bool{}
	for _, c := range r.clauses {
		if at := slices.Index(c.words, "stopped"); at >= 0 {
			_, a.Whole = c.any(wholeClock)
			if by := c.words[at+1:]; len(by) > 0 && (by[0] == "it" || by[0] == "the") && !slices.Contains(c.words[:at], "was") {
				found[ByHand] = true
			} else if at > 0 && (c.words[at-1] == "i" || c.words[at-1] == "we") {
				return a, heldFor("stopped", "it does not say what the writer stopped")
			}
			for i, w := range c.words {
				if i != at && !besideStop[w] && !(i > at && causes[w] != "") {
					return a, heldFor(w, "by the word %q beside \"stopped\" it may mean more than one thing", w)
				}
			}
		}
		for _, w := range c.words {
			if cause := causes[w]; cause != "" {
				found[cause] = true
			}
		}
		if ranDownWords.MatchString(strings.Join(c.words, " ")) {
			found[RanDown] = true
		}
	}
	if len(found) == 1 {
		for cause := range found {
			a.Cause = cause
		}
	}
	a.Because = r.beside(func(c saying) bool {
		return !slices.ContainsFunc(c.words, func(w string) bool { return !besideStop[w] && !stopWords[w] })
	})
	return a, nil
}

// wasDone is the answer that it was done, or looked over.
func (r *reply) wasDone() (Answer, error) {
	a := Answer{Said: SaidDone}
	for i, w := range r.done {
		if w == "measured" {
			return a, heldFor(w, "it says that something was measured, but not the reading")
		}
		if deeds[w] == nil || slices.Equal(deeds[w], a.Tasks) {
			continue
		}
		if i > 0 && len(a.Tasks) > 0 && !(lookedOver[w] && slices.ContainsFunc(r.done[:i], func(v string) bool { return lookedOver[v] })) {
			return a, heldFor(w, "it names two tasks, %q and %q", r.done[0], w)
		}
		a.Tasks = deeds[w]
	}
	if r.wells > 0 && slices.ContainsFunc(r.done, func(w string) bool { return lookedOver[w] }) {
		return r.well(a.Tasks)
	}
	for _, c := range r.clauses {
		if w, ok := c.any(trouble); ok {
			return a, heldFor(w, "it says that it was done, and speaks of %q: somebody should read it", w)
		}
		if !c.claims() {
			continue
		}
		if w, ok := c.stray(); ok {
			return a, heldFor(w, "by the word %q beside what was done it may mean more than one thing", w)
		}
	}
	a.Because = r.beside(func(c saying) bool {
		return c.claims() || !slices.ContainsFunc(c.words, func(w string) bool { return !plain[w] && w != signWell })
	})
	return a, nil
}

// claims reports whether a saying says that something was done.
func (c saying) claims() bool {
	return slices.ContainsFunc(c.words, func(w string) bool { _, ok := deeds[w]; return ok })
}

// stray finds a word of a saying that may change what it claims.
func (c saying) stray() (string, bool) {
	for i, w := range c.words {
		_, deed := deeds[w]
		switch {
		case i > 0 && besideClaim[w] && !shown(c.words, i):
			return w, true
		case deed || plain[w] || courtesies[w] || w == signWell:
		default:
			return w, true
		}
	}
	return "", false
}

// shown reports whether a word that could lead astray begins a harmless phrase.
func shown(words []string, i int) bool {
	rest := strings.Join(words[i:], " ") + " "
	for _, p := range []string{"as asked ", "as usual ", "as normal ", "in the morning ", "in the afternoon ", "in the evening ", "for you ", "by me ", "by myself "} {
		if strings.HasPrefix(rest, p) {
			return true
		}
	}
	return false
}

// well is the answer that nothing was found. Whatever else is written beside it
// may be just what was found.
func (r *reply) well(tasks []TaskKind) (Answer, error) {
	for _, c := range r.clauses {
		for _, w := range c.words {
			if _, deed := deeds[w]; !deed && !plain[w] && !courtesies[w] && w != signWell {
				return Answer{}, heldFor(w, "it says that all is well, and more (%q)", clipped(c.raw))
			}
		}
	}
	return Answer{Said: SaidWell, Tasks: tasks}, nil
}

// reading is the answer that gives a reading.
func (r *reply) reading(units wear.Unit) (Answer, error) {
	a := Answer{Said: SaidRead, Tasks: []TaskKind{Measuring, NearLimit}}
	end, side := false, false
	if r.wells > 0 {
		return a, heldFor("", "it gives a figure and says that all is well")
	}
	for _, c := range r.clauses {
		for _, w := range c.words {
			end, side = end || w == signEnd, side || w == signSide
			_, deed := deeds[w]
			switch {
			case w == "measured" || w == "checked" || w == signEnd || w == signSide || w == signFigure || plain[w] || courtesies[w]:
			case deed:
				return a, heldFor(w, "it says %q and gives a figure as well", w)
			default:
				return a, heldFor(w, "the word %q beside the figure is not understood", w)
			}
		}
	}
	if end && side {
		return a, heldFor("", "it speaks of end-shake and of side-shake")
	}
	var v wear.Length
	for i, f := range r.figures {
		l, err := freedom(f, units)
		if err != nil {
			return a, err
		}
		if i > 0 && (l-v > sameWithin || v-l > sameWithin) {
			return a, heldFor("value", "it gives two figures that differ, %s and %s", r.figures[0], f)
		}
		if i == 0 {
			v = l
		}
	}
	a.Reading = &wear.Reading{Value: v}
	if end {
		a.Reading.Shake = wear.EndShake
	} else if side {
		a.Reading.Shake = wear.SideShake
	}
	return a, nil
}

// thousands is a figure whose comma may part thousands.
var thousands = regexp.MustCompile(`^[1-9]\d{0,2},\d{3}\b`)

// sixtyFourths is a fraction of an inch that is nothing else: no day of a month,
// no part of a whole.
var sixtyFourths = regexp.MustCompile(`^(?:\d+ +)?\d+/(?:32|64|128)$`)

// freedom reads one figure of a reply.
func freedom(f string, units wear.Unit) (wear.Length, error) {
	f = strings.Join(strings.Fields(f), " ")
	if strings.ContainsAny(f[:1], "-+") || strings.HasPrefix(f, "~") || !unicode.IsDigit(rune(f[0])) && f[0] != '.' {
		return 0, heldFor("value", "the sign before %s makes it uncertain", f)
	}
	if thousands.MatchString(f) {
		return 0, heldFor("value", "the comma in %s may be a point or part thousands", f)
	}
	var l wear.Length
	var err error
	switch last := f[len(f)-1]; {
	case sixtyFourths.MatchString(f):
		l, err = wear.ParseLength(f + " in")
	case last >= '0' && last <= '9':
		l, err = unitless(f, units)
	default:
		l, err = wear.ParseLength(strings.NewReplacer("millimetres", "mm", "millimetre", "mm", "millimeters", "mm", "millimeter", "mm").Replace(f))
	}
	if CodeOf(err) != "" {
		return 0, err
	}
	if err != nil {
		return 0, heldFor("value", "the figure %s is not understood: write it like 0.42 mm, 16 thou or 5/64 in", clipped(f))
	}
	if l <= 0 || l > mostRead {
		return 0, heldFor("value", "%s is no likely reading", f)
	}
	return l, nil
}

// unitless reads a figure without a unit in the writer's own, where it can be in
// no other.
func unitless(f string, units wear.Unit) (wear.Length, error) {
	own := cmp.Or(units, wear.MM)
	if strings.Contains(f, "/") {
		return 0, heldFor("value", "the fraction %s has no unit: write it like 5/64 in", clipped(f))
	}
	var fits []string
	var l wear.Length
	for _, u := range []string{"mm", "thou", "in"} {
		v, err := wear.ParseLength(f + " " + u)
		if err == nil && v >= leastLikely && v <= mostLikely {
			fits = append(fits, u)
			l = v
		}
	}
	if len(fits) == 1 && fits[0] == string(own) {
		return l, nil
	}
	return 0, heldFor("value", "%s has no unit and could be in more than one: write it like 0.42 mm, 16 thou or 5/64 in", clipped(f))
}

// clipped shortens what is quoted in a sentence.
func clipped(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "..."
	}
	return s
}
