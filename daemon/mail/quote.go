package mail

import (
	"regexp"
	"strings"
)

// written is what the writer of a message wrote: without the lines that they
// quoted and the line above these, without a signature, and without all that
// follows a mark below which mail programs put the whole message answered.
func written(text string) string {
	lines := strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u00a0", " ", "\u202f", " ", "\u200b", "", "\ufeff", "").Replace(text), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " \t")
	}
	var own []string
	signed := false
	for i := 0; i < len(lines); i++ {
		line := strings.TrimSpace(lines[i])
		if belowIsQuoted(lines, i) {
			break
		}
		if quoted(line) {
			signed = false // what stands below what is quoted was written again
			continue
		}
		if n, cutRest := attribution(lines, i); n > 0 {
			if cutRest {
				break
			}
			i += n - 1
			continue
		}
		switch {
		case line == "--" || lines[i] == "-- ", disclaimer.MatchString(line):
			signed = true
		case signed, sentFrom.MatchString(line), phone.MatchString(line):
		default:
			own = append(own, line)
		}
	}
	return strings.TrimSpace(blankLines.ReplaceAllString(strings.Join(own, "\n"), "\n\n"))
}

var blankLines = regexp.MustCompile(`\n{3,}`)

// quoted reports whether a line is quoted by a mark before it.
func quoted(line string) bool { return strings.HasPrefix(line, ">") || strings.HasPrefix(line, "|>") }

// How mail programs say, in their languages, who wrote what is quoted, and how
// they head the message that they answer (from memory).
var (
	wroteWords = `wrote|writes|schrieb|a écrit|escribió|escribio|ha scritto|schreef|skrev|escreveu|kirjoitti|napsal(?:\(a\))?|napísal(?:\(a\))?|napisał(?:\(a\))?|írta|a scris|написал(?:\(а\))?|пишет|έγραψε|yazdı|写道|のメール`
	attributed = regexp.MustCompile(`(?i)(?:^|[\s>,])(?:` + wroteWords + `)(?:[\s(<].*)?\s*[:：]\s*$`)
	// dated or addressed: a line that ends with a colon and has one of these is
	// about a message in any language.
	aboutMail = regexp.MustCompile(`\S+@\S+\.\S|\b\d{1,2}[:.]\d{2}\b|\b\d{4}-\d{2}-\d{2}\b|\b\d{1,2}[./]\d{1,2}[./]\d{2,4}\b`)
	// begins: how the line begins where it goes over several.
	begins = regexp.MustCompile(`(?i)^(?:on|am|le|el|il|op|den|em|dne|dňa|w dniu|lør|tor|fre|man|tir|ons|søn|\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*,?)\b`)

	original = regexp.MustCompile(`(?i)^[-_ ]{2,} ?(?:original message|original appointment|forwarded message|ursprüngliche nachricht|weitergeleitete nachricht|originalnachricht|message d'origine|message transféré|mensaje original|mensagem original|messaggio originale|oorspronkelijk bericht|opprinnelig melding|oprindelig meddelelse|ursprungligt meddelande|alkuperäinen viesti|původní zpráva|wiadomość oryginalna|исходное сообщение) ?[-_ ]{2,}$`)
	fromLine = regexp.MustCompile(`(?i)^\*{0,2}(?:from|von|de|da|van|från|fra|lähettäjä|od|feladó|от|发件人|差出人) ?:\*{0,2} ?\S`)
	sentLine = regexp.MustCompile(`(?i)^\*{0,2}(?:sent|date|to|subject|gesendet|datum|an|betreff|envoyé|à|objet|enviado(?: el)?|para|fecha|asunto|inviato|data|a|oggetto|verzonden|aan|onderwerp|skickat|till|ämne|sendt|til|dato|emne|lähetetty|odesláno|komu|předmět|wysłano|do|temat) ?:\*{0,2}(?: |$)`)
	ruled    = regexp.MustCompile(`^_{10,}$`)

	sentFrom   = regexp.MustCompile(`(?i)^(?:sent (?:from|via|using|with) |get outlook for |gesendet (?:von|mit) |von meinem .{1,40} gesendet|envoyé (?:de|depuis|à partir) |enviado desde |enviado do |inviato da|verzonden (?:vanaf|met) |skickat från |sendt fra |download .{1,30} for )[^:]{0,80}$`)
	phone      = regexp.MustCompile(`(?i)^(?:[\p{L} .'-]{0,40}[,:|·-]?\s*)?(?:(?:tel|telephone|phone|mobile|mob|cell|fax|t|m|p)\.?:?\s*)?\+?\(?\d[\d ().-]{7,20}\d$`)
	disclaimer = regexp.MustCompile(`(?i)^\W{0,3}(?:this (?:e-?mail|message)(?: and any| is (?:intended|confidential)| may contain)|confidential(?:ity)? notice|disclaimer\b|please consider the environment)`)
)

// belowIsQuoted reports whether the rest of a message is the one it answers.
func belowIsQuoted(lines []string, i int) bool {
	line := strings.TrimSpace(lines[i])
	if original.MatchString(line) {
		return true
	}
	from := i
	if ruled.MatchString(line) {
		for from++; from < len(lines) && strings.TrimSpace(lines[from]) == ""; from++ {
		}
	}
	if from >= len(lines) || !fromLine.MatchString(strings.TrimSpace(lines[from])) {
		return false
	}
	for _, l := range lines[from+1 : min(from+5, len(lines))] {
		if sentLine.MatchString(strings.TrimSpace(l)) {
			return true
		}
	}
	return false
}

// attribution finds a line, or up to four, that say who wrote what follows: how
// many there are, and whether all that follows is quoted, because no mark tells
// what is. Zero: there is none.
func attribution(lines []string, i int) (n int, cutRest bool) {
	joined := ""
	for n = 1; n <= 4 && i+n <= len(lines); n++ {
		line := strings.TrimSpace(lines[i+n-1])
		if line == "" || quoted(line) || n > 1 && !begins.MatchString(joined) {
			return 0, false
		}
		joined = strings.TrimSpace(joined + " " + line)
		if !strings.HasSuffix(line, ":") && !strings.HasSuffix(line, "：") {
			continue
		}
		next := i + n
		for next < len(lines) && strings.TrimSpace(lines[next]) == "" {
			next++
		}
		marked := next < len(lines) && quoted(strings.TrimSpace(lines[next]))
		if attributed.MatchString(joined) && (aboutMail.MatchString(joined) || marked || begins.MatchString(joined)) {
			return n, !marked
		}
		if marked && aboutMail.MatchString(joined) {
			return n, false
		}
		return 0, false
	}
	return 0, false
}
