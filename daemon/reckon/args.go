package reckon

import (
	"fmt"
	"strings"
)

// ParseArgs reads the arguments of a command behind the sheet's name: --name
// value, or --name=value. A value may run over several arguments, up to the next
// that begins with two hyphens, so that a negative number and "0.42 mm" without
// quotes are read as they are meant.
func (s Sheet) ParseArgs(args []string) (given map[string]string, json bool, err error) {
	given = map[string]string{}
	for i := 0; i < len(args); {
		name, text, whole := strings.Cut(strings.TrimPrefix(args[i], "--"), "=")
		if !strings.HasPrefix(args[i], "--") || name == "" {
			return nil, false, fmt.Errorf("%q stands alone: give each input by its name, like %s", short(args[i]), s.ExampleWords())
		}
		i++
		if name == "json" && !whole {
			json = true
			continue
		}
		if _, ok := s.input(name); !ok {
			return nil, false, s.unknown(name)
		}
		values := []string{}
		if whole {
			values = append(values, text)
		}
		for ; i < len(args) && !strings.HasPrefix(args[i], "--"); i++ {
			values = append(values, args[i])
		}
		text = strings.TrimSpace(strings.Join(values, " "))
		in, _ := s.input(name)
		switch _, twice := given[name]; {
		case twice:
			return nil, false, Fault{name, "it is given twice: leave one out"}
		case text == "":
			return nil, false, Fault{name, "its value is missing: write it like " + in.example()}
		}
		given[name] = text
	}
	return given, json, nil
}
