package main

import (
	"errors"
	"strings"
	"unicode"

	"endshake/schedule"
)

// flagged names the flag, or the argument, that an entry was refused for: who
// writes commands knows no field.
func (c *logCmd) flagged(err error) error {
	var e *schedule.Error
	if !errors.As(err, &e) || e.Field == "" {
		return err
	}
	said := strings.Replace(e.Message, "the "+e.Field+" of an entry is", "this is", 1)
	said = strings.Replace(said, "say that you are sure", "say so with --sure", 1)
	return &schedule.Error{Code: e.Code, Field: e.Field, Message: c.flagOf(e.Field) + ": " + said}
}

// flagOf is how a command writes a field of an entry. Where several flags make
// one field it is the first that was given.
func (c *logCmd) flagOf(field string) string {
	type flag struct {
		name  string
		given bool
	}
	several := map[string][]flag{
		"value": {{"--side-shake", c.SideShake != ""}, {"--end-shake", true}},
		"turns": {{"--turns", c.Turns != 0 || !c.Part}, {"--part", true}},
		"check": {{"--wires6", c.Wires6 != 0}, {"--wires30", c.Wires30 != 0}, {"--diameter", c.Diameter != ""}, {"--strand", c.Strand},
			{"--rust", c.Rust != ""}, {"--line", true}},
		"wires6": {{"--wires6", c.Wires6 != 0 || c.Wires30 == 0}, {"--wires30", true}},
	}
	for _, f := range several[field] {
		if f.given {
			return f.name
		}
	}
	if name, ok := map[string]string{
		"kind": "<kind>", "clock": "<clock>", "errorFound": "--error", "errorLeft": "--left", "nutTurns": "--nut", "fitted": "--leaves", "pair": "--new-pair",
	}[field]; ok {
		return name
	}
	var out strings.Builder
	out.WriteString("--")
	for _, r := range field {
		if unicode.IsUpper(r) {
			out.WriteByte('-')
		}
		out.WriteRune(unicode.ToLower(r))
	}
	return out.String()
}
