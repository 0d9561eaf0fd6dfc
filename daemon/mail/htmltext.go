package mail

import (
	"regexp"
	"strings"

	"golang.org/x/net/html"
)

// maxOpen is how many elements may be open within one another.
const maxOpen = 300

// What elements do to the text.
var (
	unshown = set("head title style script template noscript object svg math iframe select textarea audio video canvas map")
	blocks  = set("p div br tr li ul ol table h1 h2 h3 h4 h5 h6 hr blockquote section article header footer address pre dd dt dl center form")
	voids   = set("area base br col embed hr img input link meta source track wbr")
	struck  = set("del s strike")
)

func set(words string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(words) {
		m[w] = true
	}
	return m
}

// How mail programs mark what is quoted and signed, by class and id, and how a
// text is kept from being seen (from memory).
var (
	quoteMark  = regexp.MustCompile(`(?i)(?:^|\s)(?:gmail_quote(?:_container)?|gmail_attr|gmail_extra|moz-cite-prefix|yahoo_quoted|protonmail_quote|zmail_extra|tutanota_quote|ms-outlook-mobile-reference-message|mail-editor-reference-message-container|reply-intro|WM_cite)(?:\s|$)`)
	restMark   = regexp.MustCompile(`(?i)(?:^|\s)(?:appendonsend|divRplyFwdMsg|stopSpelling|OLK_SRC_BODY_SECTION)(?:\s|$)`)
	signedMark = regexp.MustCompile(`(?i)(?:^|\s)(?:gmail_signature|gmail_signature_prefix|moz-signature|protonmail_signature_block|Signature|ms-outlook-mobile-signature)(?:\s|$)`)
	unseen     = regexp.MustCompile(`(?i)display\s*:\s*none|visibility\s*:\s*hidden|font-size\s*:\s*0|mso-hide\s*:\s*all|opacity\s*:\s*0(?:[^.]|$)|text-decoration[^;]*line-through`)
)

// element is one that is open.
type element struct {
	name                 string
	dropped, veiled, pre bool // itself or what it stands in
}

// htmlText is the text of a message in HTML as its reader sees it, without what
// programs mark as quoted or signed. Nothing is fetched and nothing run.
// trouble says in one sentence why the text cannot be trusted; empty: it can.
func htmlText(s string) (text, trouble string) {
	z := html.NewTokenizer(strings.NewReader(s))
	var b strings.Builder
	open := []element{{}}
	for {
		switch z.Next() {
		case html.ErrorToken:
			return tidy(b.String()), trouble
		case html.TextToken:
			here := open[len(open)-1]
			t := string(z.Text())
			if here.dropped || strings.TrimSpace(t) == "" && !strings.ContainsAny(t, " \n\t\u00a0") {
				continue
			}
			if here.veiled {
				if strings.TrimSpace(t) != "" {
					trouble = "its HTML holds text that is hidden or struck out"
				}
				continue
			}
			if !here.pre {
				t = spaces.ReplaceAllString(html.UnescapeString(t), " ")
			}
			b.WriteString(t)
		case html.StartTagToken, html.SelfClosingTagToken:
			e, rest := begin(z, open[len(open)-1])
			if rest {
				return tidy(b.String()), trouble
			}
			if blocks[e.name] && !e.dropped {
				b.WriteByte('\n')
			} else if (e.name == "td" || e.name == "th") && !e.dropped {
				b.WriteByte(' ')
			}
			if !voids[e.name] {
				if len(open) > maxOpen {
					return "", "its HTML is nested more deeply than any letter is"
				}
				open = append(open, e)
			}
		case html.EndTagToken:
			name, _ := z.TagName()
			open = end(open, string(name))
			if blocks[string(name)] && !open[len(open)-1].dropped {
				b.WriteByte('\n')
			}
		}
	}
}

var spaces = regexp.MustCompile(`[ \t\r\n]+`)

// begin reads a tag that opens an element within another; rest: all from here is
// quoted.
func begin(z *html.Tokenizer, within element) (e element, rest bool) {
	name, more := z.TagName()
	e = within
	e.name = string(name)
	e.dropped = e.dropped || unshown[e.name] || e.name == "blockquote"
	e.veiled = e.veiled || struck[e.name]
	e.pre = e.pre || e.name == "pre"
	for more {
		var key, value []byte
		key, value, more = z.TagAttr()
		switch v := string(value); string(key) {
		case "class", "id", "name", "data-smartmail":
			rest = rest || restMark.MatchString(v)
			e.dropped = e.dropped || quoteMark.MatchString(v) || signedMark.MatchString(v)
		case "style":
			e.veiled = e.veiled || unseen.MatchString(v)
		case "hidden":
			e.veiled = true
		}
	}
	return e, rest && !within.dropped
}

// end closes the element of a name, with what was left open in it.
func end(open []element, name string) []element {
	for i := len(open) - 1; i > 0; i-- {
		if open[i].name == name {
			return open[:i]
		}
	}
	return open
}

// tidy trims each line.
func tidy(s string) string {
	lines := strings.Split(s, "\n")
	for i, l := range lines {
		lines[i] = strings.TrimSpace(l)
	}
	return strings.TrimSpace(blankLines.ReplaceAllString(strings.Join(lines, "\n"), "\n\n"))
}
