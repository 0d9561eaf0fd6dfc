package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"testing"

	"endshake/schedule"
)

// readers are the kinds of whoever asks: edda runs the fleet; kim keeps corn-hall,
// wyn winds it and owen owns it; a program has a token that reads and logs it; a
// link is a browser that holds a pass of every deed, and nobody has nothing.
var readers = []string{"edda", "kim", "wyn", "owen", "program", "link", "nobody"}

// What each of the readers is answered, in their order: on what is theirs, and after
// a stroke on what is of others, where that differs. Who may what was written down
// before there were any pages: a conservator everything; a keeper reads and logs
// their clocks; a winder too, of what winding shows; an owner reads theirs and
// writes nothing; a program what its token says, and no page; a link the one thing
// that it is for. A clock of others is not there. Nobody is asked to log in.
const (
	reads      = "200 200/404 200/404 200/404 303 303 303"
	lists      = "200 200 200 200 303 303 303"
	runs       = "200 403 403 403 303 303 303"
	asksToLog  = "200 200/404 200/404 403/404 303 303 303"
	logs       = "303 303/404 303/404 403/404 401 401 401"
	acts       = "303 403 403 403 401 401 401"
	ownActs    = "303 303 303 303 401 401 401"
	anybody    = "200 200 200 200 200 200 200"
	byLink     = "404 404 404 404 404 200/410 404"
	apiReads   = "200 200/404 200/404 200/404 200/404 401 401"
	apiLists   = "200 200 200 200 200 401 401"
	apiLogs    = "201 201/404 201/404 403/404 201/404 401 401"
	notAnswers = "" // the address has no such method
)

// row is one address: what it answers to GET and HEAD, and to the form or the JSON
// that it takes.
type row struct {
	get, post string
	// shows is what its page says to whoever may read it: of one's own clock, and of
	// the others' to the conservator.
	shows [2]string
	quiet bool // a form that was taken changes nothing but who is logged in
}

var (
	theClock = [2]string{"Corn Hall clock", "ZQXVQCLOCK"}
	ofAll    = [2]string{"Corn Hall clock"}
)

// matrix is every address, with what it answers to whom.
var matrix = map[string]row{
	// A winder of one clock is led to it.
	"/{$}": {get: strings.Replace(lists, "200 200 200 200", "200 200 303 200", 1), shows: ofAll}, "/due": {get: lists, shows: ofAll}, "/compare": {get: lists, shows: [2]string{"Steel on brass"}}, "/labels": {get: lists, shows: ofAll},
	"/rounds":                {get: lists, post: "303 303/404 404 404 401 401 401", shows: [2]string{"corn-hall"}}, // who decided something, or runs the fleet, lifts it
	"/rounds/{person}/{day}": {get: reads, post: "303 303/404 403/404 403/404 401 401 401", shows: theClock},
	"/outlook":               {get: lists}, "/timechange": {get: lists}, "/help": {get: lists}, "/help/api": {get: lists},
	"/reckoner": {get: lists}, "/reckoner/{sheet}": {get: lists},
	"/clock/{clock}":                          {get: reads, shows: theClock},
	"/clock/{clock}/bearing/{bearing}":        {get: reads, shows: theClock},
	"/clock/{clock}/bearing/{bearing}/limits": {get: runs, post: acts, shows: theClock},
	"/clock/{clock}/done/{entry}":             {get: reads, shows: theClock},
	"/clock/{clock}/label":                    {get: reads, shows: theClock},
	"/clock/{clock}/card":                     {get: reads, shows: theClock},
	"/clock/{clock}/report":                   {get: reads, shows: theClock},
	"/report":                                 {get: lists, shows: ofAll},
	"/clock/{clock}/history":                  {get: reads, post: "200 403/404 403/404 200/404 401 401 401", shows: theClock}, // the file is theirs who run or own it
	"/clock/{clock}/do/{work}":                {get: asksToLog, post: logs, shows: theClock},
	"/clock/{clock}/card/entry":               {get: asksToLog, post: logs, shows: theClock},
	"/clock/{clock}/log":                      {get: asksToLog, post: logs, shows: theClock},
	"/picture/{id}":                           {get: reads, shows: [2]string{"own picture", "ZQXVQJPEG"}},
	"/picture/{id}/small":                     {get: reads, shows: [2]string{"own small", "ZQXVQSMALL"}},

	"/settings": {get: runs}, "/people": {get: runs, shows: [2]string{"Own kim"}}, "/audit": {get: runs, shows: [2]string{"ZQXVQDETAIL"}},
	"/people/invite":   {get: runs, post: acts},
	"/people/programs": {get: runs, post: "200 403 403 403 401 401 401"}, // its page shows the token, this once
	"/people/{person}": {get: runs, post: acts, shows: [2]string{"Own kim", "ZQXVQNAMED"}},

	"/people/{person}/erase": {get: runs, post: acts, shows: [2]string{"Own kim", "ZQXVQNAMED"}},
	"/export":                {get: "200 403 403 200 303 303 303", post: "200 403 403 200 401 401 401", shows: [2]string{"Corn Hall clock"}}, // theirs who run or own a clock
	"/old-book":              {get: runs, post: acts},
	"/mail":                  {get: runs, shows: [2]string{"ZQXVQTITLE"}},
	"/mail/{id}":             {get: runs, shows: [2]string{"Due in December", "ZQXVQTITLE"}},
	"/mail/{id}/html":        {get: runs}, "/mail/{id}/resend": {post: acts}, "/mailbox": {post: acts},
	"/inward":      {get: runs, shows: [2]string{"ZQXVQSUBJECT"}},
	"/inward/{id}": {get: runs, post: acts, shows: [2]string{"Re: wind", "ZQXVQSUBJECT"}},
	"/arrived/{n}": {get: runs}, "/arrived/{n}/html": {get: runs},

	"/answer/{token...}":                     {get: byLink, post: byLink, shows: [2]string{"Corn Hall clock"}},
	"/decline/{token...}":                    {get: byLink, post: byLink, shows: [2]string{"reminders to wind"}},
	"/join/{token...}":                       {get: byLink, post: "404 404 404 404 404 303/410 404", shows: [2]string{"Own kim"}},
	"/first/{token...}":                      {get: byLink, post: "404 404 404 404 404 303/410 404"},
	"/calendar/{file...}":                    {get: byLink, shows: [2]string{"Corn Hall clock"}},
	"/static/{hash}/{name}":                  {get: anybody},
	"/login":                                 {get: "303 303 303 303 200 200 200", post: "303 303 303 303 303 303 303", quiet: true},
	"/login/code":                            {get: "303 303 303 303 303 303 303", post: "303 303 303 303 303 303 303", quiet: true}, // no password was given before
	"/login/again":                           {get: lists, post: ownActs, quiet: true},
	"/logout":                                {post: ownActs, quiet: true},
	"/forgot":                                {get: anybody, post: anybody},
	"/me":                                    {get: lists, post: ownActs},
	"/me/codes":                              {get: lists, post: ownActs},
	"/me/codes/end":                          {post: "403 303 303 303 401 401 401"},
	"/me/password":                           {post: ownActs},
	"/me/sessions":                           {post: "303/404 303/404 303/404 303/404 401 401 401", quiet: true}, // another's login is not there
	"/me/calendar":                           {post: "200 200 200 200 401 401 401"},
	"/me/data":                               {get: lists},
	"/me/rounds":                             {get: lists},
	"/api":                                   {get: apiLists},
	"/api/openapi.json":                      {get: apiLists},
	"/api/fleet":                             {get: apiLists, shows: ofAll},
	"/api/due":                               {get: apiLists, shows: [2]string{`"corn-hall"`}},
	"/api/outlook":                           {get: apiLists},
	"/api/lesson":                            {get: apiLists},
	"/api/clocks/{clock}":                    {get: apiReads, shows: theClock},
	"/api/clocks/{clock}/log":                {get: apiReads, post: apiLogs, shows: [2]string{`"corn-hall"`, `"zqxvqclock"`}},
	"/api/clocks/{clock}/pictures":           {get: apiReads, shows: [2]string{`"words":"own"`, "ZQXVQPICTURE"}},
	"/api/clocks/{clock}/pictures/{picture}": {get: apiReads, shows: [2]string{"own picture", "ZQXVQJPEG"}},
	"/api/clocks/{clock}/bearings":           {get: apiReads, shows: [2]string{`"corn-hall"`, `"zqxvqclock"`}},
	"/api/clocks/{clock}/bearings/{bearing}": {get: apiReads, shows: [2]string{`"corn-hall"`, `"zqxvqclock"`}},
}

// answered reads what a row says of a reader: on their own, and on what is of others.
func answered(t *testing.T, row, who string) [2]int {
	t.Helper()
	all := strings.Fields(row)
	if len(all) != len(readers) {
		t.Fatalf("%q has %d answers for %d readers", row, len(all), len(readers))
	}
	own, other, two := strings.Cut(all[slices.Index(readers, who)], "/")
	if !two {
		other = own
	}
	var out [2]int
	for i, s := range []string{own, other} {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = n
	}
	return out
}

// Every address that is answered stands in the matrix, and none else does.
func TestMatrixIsWhole(t *testing.T) {
	s, there := strangers(t).s, map[string]bool{}
	for _, rt := range s.routes() {
		there[rt.path] = true
		r, ok := matrix[rt.path]
		if !ok {
			t.Errorf("the matrix does not say who may have %s", rt.path)
			continue
		}
		if (r.get != notAnswers) != (rt.get != nil) || (r.post != notAnswers) != (rt.post != nil) {
			t.Errorf("%s answers to GET: %v, to POST: %v; the matrix says %q and %q", rt.path, rt.get != nil, rt.post != nil, r.get, r.post)
		}
	}
	for path := range matrix {
		if !there[path] {
			t.Errorf("%s is in the matrix, and nowhere else", path)
		}
	}
}

// As they were written down, so are all addresses answered: every reader, on what
// is theirs and on what is of others (W11 to W13, W15, W16 and W18). Nothing of
// the others' clock leaves, and looking changes nothing.
func TestEveryAddressWithEveryReader(t *testing.T) {
	for _, who := range readers {
		t.Run(who, func(t *testing.T) {
			e := strangers(t)
			b := e.reader(who)
			for n, rt := range e.s.routes() {
				if matrix[rt.path].get == notAnswers {
					continue
				}
				want := answered(t, matrix[rt.path].get, who)
				b.from = fmt.Sprintf("192.0.2.%d:4711", n) // who brings many wrong tokens from one place is put off
				before := e.kept()
				for i, which := range []string{"own", "other"} {
					path := e.placed(rt.path, who, which)
					res, body := b.get(path)
					what := fmt.Sprintf("GET %s by %s, of %s clock", rt.path, who, which)
					if res.StatusCode != want[i] {
						t.Errorf("%s answers %d, want %d: %.300s", what, res.StatusCode, want[i], body)
					}
					e.shows(what, matrix[rt.path], who, i, res, body)
					if who != "edda" {
						e.tells(what, path, res, body)
					}
					if i == 1 && want[1] == 404 {
						e.sameAsNone(b, what, rt.path, who, res, body)
					}
					head, none := b.do("HEAD", path, nil)
					if head.StatusCode != res.StatusCode || none != "" {
						t.Errorf("%s: HEAD answers %d with %d bytes, GET %d", what, head.StatusCode, len(none), res.StatusCode)
					}
				}
				if after := e.kept(); after != before {
					t.Errorf("looking at %s has changed something:\n%s\n%s", rt.path, before, after)
				}
			}
		})
	}
}

// shows sees that a page which may be read is of what was asked for.
func (e *entrance) shows(what string, r row, who string, of int, res *http.Response, body string) {
	if res.StatusCode != 200 || of == 1 && who != "edda" {
		return
	}
	if of == 0 && r.shows[0] != "" && !strings.Contains(body, r.shows[0]) {
		e.t.Errorf("%s does not say %q: %.2000s", what, r.shows[0], body)
	}
	if of == 1 && r.shows[1] != "" && !strings.Contains(body, r.shows[1]) {
		e.t.Errorf("%s does not say %q: the mark is nowhere that it could be missed from", what, r.shows[1])
	}
}

// tells looks in an answer for what is of others, but for what the question said.
func (e *entrance) tells(what, path string, res *http.Response, body string) {
	e.t.Helper()
	if strings.HasPrefix(path, "/first/") && res.StatusCode == 200 {
		return // whoever runs the fleet from now on says which of its people they are
	}
	if strings.HasPrefix(path, "/answer/") && res.StatusCode == 410 {
		path += " of zqxvqclock" // which the letter with the link has named
	}
	low := strings.ToLower(body + fmt.Sprint(res.Header))
	for _, echoed := range []string{"zqxvqclock.centre-front", "zqxvqclock", "zqxvqkeeper", "zqxvqsite", "zqxvq%25", "zqxvq%"} {
		if strings.Contains(strings.ToLower(path), echoed) {
			low = strings.ReplaceAll(low, echoed, "")
		}
	}
	if at := strings.Index(low, mark); at >= 0 {
		e.t.Errorf("%s tells of the others' clock: %.160s", what, low[max(0, at-60):])
	}
}

// sameAsNone sees that what is of others is answered as what is not there.
func (e *entrance) sameAsNone(b *visit, what, pattern, who string, res *http.Response, body string) {
	none, noneBody := b.get(e.placed(pattern, who, "none"))
	echo := strings.NewReplacer("zqxvqclock", "none-such", "zqxvqkeeper", "none-such", "p-other", "none-such", e.desk.f.log["zqxvqclock"][0].ID, "none-such")
	if none.StatusCode != res.StatusCode || echo.Replace(body) != noneBody {
		e.t.Errorf("%s answers %d for the others' and %d for what is not there, or in other words: %s\n%s", what, res.StatusCode, none.StatusCode, body, noneBody)
	}
}

// So are all forms, each sent to a service that nothing was sent to before: what
// is refused changes nothing, and what is taken does what it says, on the clock
// that it was sent for.
func TestEveryFormWithEveryReader(t *testing.T) {
	for _, who := range readers {
		t.Run(who, func(t *testing.T) {
			for _, path := range paths(strangers(t).s) {
				r := matrix[path]
				if r.post == notAnswers {
					continue
				}
				want := answered(t, r.post, who)
				for i, which := range []string{"own", "other"} {
					e := strangers(t)
					if who == "link" && strings.HasPrefix(path, "/first/") {
						delete(e.book.accounts, "edda") // somebody is first only once
					}
					b := e.reader(who)
					at := e.placed(path, who, which)
					q := e.question(b, path, at, who, which)
					before := e.kept()
					res, body := b.ask(q)
					e.s.late.Wait()
					what := fmt.Sprintf("POST %s by %s, of %s clock", path, who, which)
					if res.StatusCode != want[i] {
						t.Errorf("%s answers %d, want %d: %.600s", what, res.StatusCode, want[i], body)
					}
					if taken := want[i] < 400; !r.quiet && (e.kept() != before) != taken {
						t.Errorf("%s: taken is %v, and what is kept was and is\n%s\n%s", what, taken, before, e.kept())
					}
					if who != "edda" {
						e.tells(what, at, res, body)
					}
					for _, entry := range e.desk.logged {
						if on := map[string]string{"own": "corn-hall", "other": "zqxvqclock"}[which]; entry.Clock != on || strings.HasPrefix(path, "/answer/") != (entry.Source == "link") {
							t.Errorf("%s has logged on %s, from %s", what, entry.Clock, entry.Source)
						}
					}
				}
			}
		})
	}
}

func paths(s *server) (out []string) {
	for _, rt := range s.routes() {
		out = append(out, rt.path)
	}
	return out
}

// A pass opens what it is for, and nothing else: not the page of another deed, not
// one by its token in a head, a cookie or an address, and never a session.
func TestPassesOpenNothingElse(t *testing.T) {
	for deed, token := range strangers(t).passes("own") {
		e := strangers(t)
		e.passes("own")
		before := e.kept()
		for other, root := range linkRootOf {
			if other == deed {
				continue
			}
			for _, method := range []string{"GET", "POST"} {
				res, _ := e.browser().do(method, root+token+map[bool]string{true: ".ics"}[other == schedule.Following], nil)
				if res.StatusCode != 404 && (method != "POST" || res.StatusCode != 405) {
					t.Errorf("a pass to %s: %s %s answers %d", deed, method, root, res.StatusCode)
				}
			}
		}
		for _, rt := range e.s.routes() {
			if rt.need == public || rt.need == visitor || rt.get == nil {
				continue
			}
			b := e.browser()
			b.head.Set("Authorization", "Bearer "+token)
			b.cookies["__Host-endshake"] = &http.Cookie{Name: "__Host-endshake", Value: token}
			res, body := b.get(e.placed(rt.path, "link", "own") + "?token=" + token)
			if want := map[bool]int{true: 401, false: 303}[ofAPI(rt.path)]; res.StatusCode != want || strings.Contains(body, "Corn Hall") {
				t.Errorf("a pass to %s: %s answers %d, want %d", deed, rt.path, res.StatusCode, want)
			}
		}
		if e.kept() != before || len(e.book.sessions) > 0 {
			t.Errorf("a pass to %s: something was changed, or a session opened", deed)
		}
	}
}

// ask sends a request as a browser does, with its cookies.
func (b *visit) ask(r *http.Request) (*http.Response, string) {
	b.e.t.Helper()
	for k, v := range b.head {
		r.Header[k] = v
	}
	r.RemoteAddr = b.from
	for _, c := range b.cookies {
		r.AddCookie(c)
	}
	return b.answered(r)
}

// posting is a request with a body of some kind, from a page of ours.
func posting(path, kind, body string) *http.Request {
	r := httptest.NewRequest("POST", path, strings.NewReader(body))
	r.Header.Set("Content-Type", kind)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return r
}
