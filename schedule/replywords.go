package schedule

import (
	"regexp"
	"strings"
)

// wordSet makes a set of the words of a text.
func wordSet(text string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(text) {
		set[w] = true
	}
	return set
}

// deeds are the words that say a task was done, with the kinds of task that
// each can be about; none: any.
var deeds = map[string][]TaskKind{
	"done": nil, "completed": nil,
	"wound":   {Winding},
	"rewound": {Winding},
	"oiled":   {Oiling},
	"checked": {Inspection, LineLook, PowerCheck}, "inspected": {Inspection, LineLook, PowerCheck, Visiting},
	"measured": {Measuring},
}

// undone are the words of notWords that say which kinds of task were not done.
var undone = map[string][]TaskKind{
	"wind": deeds["wound"], "wound": deeds["wound"],
	"oil": deeds["oiled"], "oiled": deeds["oiled"],
	"check": deeds["checked"], "checked": deeds["checked"], "inspect": deeds["inspected"], "inspected": deeds["inspected"],
	"measure": {Measuring, NearLimit}, "measured": {Measuring, NearLimit},
}

// lookedOver are those of deeds beside which "all well" is the answer itself.
var lookedOver = wordSet("checked inspected")

// Phrases, as they stand in a saying that is in small letters with its short
// forms written out. Each is looked for before single words are.
var (
	// wellWords: looked over, and nothing found.
	wellWords = regexp.MustCompile(`\b(?:(?:all|everything) (?:is |was |looks |looked )?(?:well|good|fine|ok|okay|in order|sound)|nothing (?:was )?(?:found|wrong|amiss|to report)|no (?:problems?|faults?|defects?)(?: found)?|(?:is |was )?all right)\b`)
	// notWords: it was not done.
	notWords = regexp.MustCompile(`\b(?:(?:(?:could|can|did|have|has|had|was|were|am|is) )?not (?:yet )?(?:been |be )?(?:able )?(?:to )?(?:do|make|manage|wind|oil|check|inspect|measure|reach|get to|get in|get up|get near|get there|enter|access|climb|done|wound|oiled|checked|inspected|measured|managed|completed|possible)|not yet|unable to (?:do|wind|oil|check|inspect|measure|reach|get to|get in|get up|enter|access|climb)|no access|no key)\b`)
	// notFirst is what may stand before notWords where they begin the answer.
	notFirst = regexp.MustCompile(`^(?:(?:i|we|it|the clock|this|that|sorry|no|but|so|still|unfortunately|regrettably|afraid|i am|we are|is|was|has|have|had|been|it is|today|this week) ?)*$`)
	// wayIn are ways of not doing it that are the reason as well.
	wayIn    = regexp.MustCompile(`(?i)\b(?:access|key|reach|get|climb|enter)\b`)
	shakeEnd = regexp.MustCompile(`\bend[- ]?shake\b`)
	shakeOff = regexp.MustCompile(`\bside[- ]?shake\b`)
)

// plain are words beside a claim that change nothing of it.
var plain = wordSet(`i we it its is was has have been be had the a an this that now just all fully up today morning afternoon evening
	tonight noon lunchtime and both trains clock clocks in at ok okay fine as asked usual normal me my for you to of on job task
	winding oiling inspection check # yes reading read measuring result right after again myself ourselves by`)

// besideClaim are words of plain that must not stand right behind a claim.
var besideClaim = wordSet("by for to of on as in again after a an")

// courtesies say nothing of the clock.
var courtesies = wordSet(`hi hello dear thanks thank you many very much regards best kind kindest warm cheers yours sincerely faithfully
	good morning afternoon evening day all the ta greetings everyone team please reply sent and with wishes`)

// stopWords say that the clock stands.
var stopWords = wordSet("stopped")

// besideStop may stand in the saying that says so.
var besideStop = wordSet("i we it the clock has have had was is found all dials hands all again today now this morning afternoon evening # at and")

// wholeClock are those of besideStop by which it is the clock that stands, and not
// one train of it alone.
var wholeClock = wordSet("clock dials hands")

// ofOneTrain are words by which a "not done" may be of one train among several.
var ofOneTrain = wordSet("strike striking chime chiming quarters quarter bell bells going train barrel side one other")

// causes are the words by which the cause of a stop is known.
var causes = map[string]StopCause{
	"snow": Weather, "snowed": Weather, "ice": Weather, "iced": Weather, "icy": Weather, "frost": Weather, "frozen": Weather, "storm": Weather,
	"gale": Weather, "lightning": Weather, "weather": Weather, "sleet": Weather,
	"pigeon": Birds, "pigeons": Birds, "bird": Birds, "birds": Birds, "jackdaw": Birds, "jackdaws": Birds, "nest": Birds, "starlings": Birds,
}

// ranDownWords is the cause in more than a word.
var ranDownWords = regexp.MustCompile(`\b(?:ran|run|had run) down\b|\bunwound\b`)

// unsure are words by which a claim may mean something else, or something else
// beside it: what is to come, what is guessed, a part of the whole, another day,
// another train, somebody else, a slip. Any of them beside a claim holds it.
var unsure = wordSet(`will shall would should could may might must can going gonna tomorrow later soon next plan planning planned intend hope hoping try
	trying tried attempt maybe perhaps possibly probably presumably apparently seems seem think thought believe guess suppose supposed
	assume sure unsure certain about approximately approx roughly around nearly almost circa estimated some part partly partially half most mostly except
	only but however though although unless until till if when whether or instead otherwise rather other others another else rest remaining
	remainder left missing wrong mistake mistaken meant error forgot forgotten forget ignore cancel wait hold undo redo correction corrected
	yesterday last previous previously ago earlier before week weeks month year years days monday tuesday wednesday thursday friday saturday
	sunday january february march april june july august september october november december
	strike striking chime chiming quarters quarter hour bell bells train side barrel
	he she they him her them his their who somebody someone anyone anybody ask asked tell told says said hear heard
	start started restart restarted restarting running runs going gone go goes moving stop stops stopping stand stands standing
	set reset oil wind clean cleaned grease greased lubricated repaired fitted replaced adjusted regulated serviced changed put moved
	fail failed failing without barely hardly scarcely rarely seldom refused declined unable impossible`)

// trouble are words that somebody should read before the answer is taken as it
// stands.
var trouble = wordSet(`broken broke break snapped frayed fraying worn wearing loose cracked crack bent slipped slipping fell fallen jammed jam stuck
	seized leak leaking water damp rust rusty smoke burning danger dangerous unsafe urgent urgently hurt injured accident noise noisy grinding
	damage damaged missing problem problems fault faulty fire police asbestos wasps help call`)

// negations turn round what follows them.
var negations = wordSet("not no never nor neither none nothing nobody nowhere without cannot dont")

// beforeNot are words that make "not done" mean less than that.
var beforeNot = wordSet(`by until till unless except without only properly fully completely all every tight enough quite entirely just both much often
	correctly well right too anymore longer or though either`)

// shortForms are written out before anything is read.
var shortForms = strings.NewReplacer("can't", "can not", "cannot", "can not", "won't", "will not", "shan't", "shall not", "n't", " not",
	"couldnt", "could not", "didnt", "did not", "havent", "have not", "hasnt", "has not", "wasnt", "was not", "isnt", "is not", "dont", "do not",
	"doesnt", "does not", "wont", "will not", "'ve", " have", "'re", " are", "'ll", " will", "'m", " am", "'d", " would", "'s", " is")

// lookalikes are signs that one writes for another, or that show nothing.
var lookalikes = strings.NewReplacer("’", "'", "‘", "'", "`", "'", "“", `"`, "”", `"`, "″", `"`, "–", "-", "—", " - ", "−", "-", "\u00a0", " ", "\u202f", " ",
	"\u2009", " ", "\u200b", "", "\u200c", "", "\u200d", "", "\u2060", "", "\ufeff", "", "\u00ad", "", "\r\n", "\n", "\r", "\n", "\t", " ", "…", ".", "⁄", "/")
