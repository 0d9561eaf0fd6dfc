package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"endshake/schedule"
)

// describe keeps what part says of a fleet: people and clocks by their short
// names. It is a Conflict where any of them is not as in base any more, so that
// nobody's change is lost unseen.
func (s *server) describe(ctx context.Context, actor string, base, part schedule.Fleet) error {
	if s.SaveFleet == nil {
		return &schedule.Error{Code: schedule.Forbidden, Message: "nothing can be described here: use the fleet file"}
	}
	if err := with(base, part).Validate(); err != nil {
		return err
	}
	return s.SaveFleet(ctx, actor, part, func(stored schedule.Fleet) error {
		for _, p := range part.People {
			was, _ := base.Person(p.Slug)
			if is, _ := stored.Person(p.Slug); !reflect.DeepEqual(was, is) {
				return stale(p.Slug)
			}
		}
		for _, c := range part.Clocks {
			was, _ := base.Clock(c.Slug)
			if is, _ := stored.Clock(c.Slug); !reflect.DeepEqual(was, is) {
				return stale(c.Name)
			}
		}
		return nil
	})
}

// mostNames bounds how many short names are tried for somebody new.
const mostNames = 50

// describeNew keeps somebody new, under another short name where somebody erased
// had the one that they would have.
func (s *server) describeNew(ctx context.Context, actor string, base schedule.Fleet, p *schedule.Person) (err error) {
	own := actor == p.Slug
	for n, slug := 2, p.Slug; n < mostNames; n++ {
		if own {
			actor = p.Slug
		}
		err = s.describe(ctx, actor, base, schedule.Fleet{People: []schedule.Person{*p}})
		var e *schedule.Error
		if !errors.As(err, &e) || e.Code != schedule.Conflict || e.Field != "slug" {
			return err
		}
		p.Slug = fmt.Sprintf("%s-%d", slug, n)
		if _, taken := base.Person(p.Slug); taken {
			p.Slug = slugFor(base, p.Slug)
		}
	}
	return err
}

func stale(what string) error {
	return &schedule.Error{Code: schedule.Conflict, Field: "version", Message: fmt.Sprintf("somebody has changed %s meanwhile: open the page again, and see whether your change is still wanted", what)}
}

// with is a fleet with what part says in the place of what was there.
func with(base, part schedule.Fleet) schedule.Fleet {
	base.People, base.Clocks = slices.Clone(base.People), slices.Clone(base.Clocks)
	for _, p := range part.People {
		if i := slices.IndexFunc(base.People, func(q schedule.Person) bool { return q.Slug == p.Slug }); i >= 0 {
			base.People[i] = p
		} else {
			base.People = append(base.People, p)
		}
	}
	for _, c := range part.Clocks {
		if i := slices.IndexFunc(base.Clocks, func(d schedule.Clock) bool { return d.Slug == c.Slug }); i >= 0 {
			base.Clocks[i] = c
		}
	}
	return base
}

// version tells one state of a thing from another: a form brings back that which
// it was filled in from.
func version(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		b = fmt.Append(nil, v)
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:8])
}

// plainer writes the letters of a name as the short name has them.
var plainer = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss", "æ", "ae", "ø", "o", "å", "a", "é", "e", "è", "e", "ê", "e", "ë", "e",
	"á", "a", "à", "a", "â", "a", "ã", "a", "í", "i", "ì", "i", "î", "i", "ó", "o", "ò", "o", "ô", "o", "õ", "o", "ú", "u", "ù", "u", "û", "u",
	"ç", "c", "ñ", "n", "š", "s", "ž", "z", "č", "c", "ł", "l", "ń", "n", "ý", "y")

// slugFor makes a short name that nobody has out of a name.
func slugFor(f schedule.Fleet, name string) string {
	var b strings.Builder
	for _, r := range plainer.Replace(strings.ToLower(name)) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= 40 {
			break
		}
	}
	base := strings.Trim(b.String(), "-")
	if base == "" || reserved[base] {
		base = "person"
	}
	slug := base
	for n := 2; ; n++ {
		if _, taken := f.Person(slug); !taken {
			return slug
		}
		slug = fmt.Sprintf("%s-%d", base, n)
	}
}

// reserved are short names that would stand for something else in an address or
// in the audit.
var reserved = map[string]bool{"programs": true, "invite": true, "first": true, "nobody": true, "conservator": true, "command": true, "system": true}

// personFault says what is wrong with somebody new, at the field that it is wrong
// with; nil: nothing.
func personFault(f schedule.Fleet, p schedule.Person) *fault {
	was, _ := f.Person(p.Slug)
	for _, q := range f.People { // one that is shared already does not keep them from changing other things
		if p.Email != "" && p.Email != was.Email && q.Slug != p.Slug && strings.EqualFold(q.Email, p.Email) {
			return &fault{"email", "Somebody has this address already: choose them, or give another."}
		}
	}
	if strings.TrimSpace(p.Name) == "" {
		return &fault{"name", "Give a name."}
	}
	err := with(schedule.Fleet{Sites: f.Sites, People: nil}, schedule.Fleet{People: []schedule.Person{p}}).Validate()
	if err == nil {
		return nil
	}
	_, words, found := strings.Cut(err.Error(), ": ")
	if !found {
		words = err.Error()
	}
	switch {
	case strings.Contains(words, "zone"):
		return &fault{"zone", sentence(words)}
	case strings.Contains(words, "mail") || strings.Contains(words, "address"):
		return &fault{"email", sentence(words)}
	}
	return &fault{"name", sentence(words)}
}
