package db

import (
	"database/sql"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"endshake/schedule"
)

// micro is a time as it is kept: UTC, whole microseconds.
func micro(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// stamp is a time as an argument; the zero time is NULL.
func stamp(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return micro(t)
}

// sqliteTime is how the driver writes a time (_time_format=sqlite).
const sqliteTime = "2006-01-02 15:04:05.999999999-07:00"

// instant scans a time: PostgreSQL gives a time, SQLite its text.
type instant struct{ t *time.Time }

func (i instant) Scan(v any) (err error) {
	switch v := v.(type) {
	case nil:
		*i.t = time.Time{}
	case time.Time:
		*i.t = v.UTC()
	case string:
		*i.t, err = time.Parse(sqliteTime, v)
		*i.t = i.t.UTC()
	default:
		err = fmt.Errorf("a time cannot be read from %T", v)
	}
	return err
}

// day scans a date from its text.
type day struct{ d *schedule.Date }

func (d day) Scan(v any) error {
	s, ok := v.(string)
	if !ok {
		return fmt.Errorf("a date cannot be read from %T", v)
	}
	return d.d.UnmarshalText([]byte(s))
}

// maybe is NULL for the zero value.
func maybe[T comparable](v T) sql.Null[T] {
	var zero T
	return sql.Null[T]{V: v, Valid: v != zero}
}

// own copies a list, so that the caller's is not changed; an empty one is nil.
func own[T any](list []T) []T {
	if len(list) == 0 {
		return nil
	}
	return slices.Clone(list)
}

func refuse(code schedule.Code, field, format string, args ...any) error {
	return &schedule.Error{Code: code, Field: field, Message: fmt.Sprintf(format, args...)}
}

// checkStorable refuses what the two engines would not keep alike, or could not
// give back: NUL, broken UTF-8, figures that are no numbers, days and years that
// are none. It looks into every field, and names the one at fault.
func checkStorable(v any) error {
	field, problem := checkValue(reflect.ValueOf(v))
	return unstorable(strings.ToLower(field), problem)
}

// checkDay is checkStorable for one day.
func checkDay(field string, d schedule.Date) error { return unstorable(field, dayProblem(d)) }

// checkText is checkStorable for one text.
func checkText(field, s string) error { return unstorable(field, textProblem(s)) }

func unstorable(field, problem string) error {
	if problem == "" {
		return nil
	}
	return refuse(schedule.Invalid, field, "%s: %s", field, problem)
}

func checkValue(v reflect.Value) (field, problem string) {
	switch v.Kind() {
	case reflect.String:
		return "", textProblem(v.String())
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return "", fmt.Sprintf("%v is not a number that can be kept: give a plain figure", f)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return checkValue(v.Elem())
		}
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.Uint8 {
			return "", "" // raw bytes hold anything
		}
		fallthrough
	case reflect.Array:
		for i := range v.Len() {
			if field, problem = checkValue(v.Index(i)); problem != "" {
				return field, problem
			}
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			for _, x := range []reflect.Value{k, v.MapIndex(k)} {
				if field, problem = checkValue(x); problem != "" {
					return field, problem
				}
			}
		}
	case reflect.Struct:
		return checkStruct(v)
	}
	return "", ""
}

var (
	timeType = reflect.TypeFor[time.Time]()
	dayType  = reflect.TypeFor[schedule.Date]()
)

func checkStruct(v reflect.Value) (field, problem string) {
	switch v.Type() {
	case timeType:
		return "", yearProblem(v.Interface().(time.Time).UTC().Year())
	case dayType:
		return "", dayProblem(v.Interface().(schedule.Date))
	}
	for i := range v.NumField() {
		kept := v.Type().Field(i)
		if !kept.IsExported() { // worked out, never stored
			continue
		}
		if field, problem = checkValue(v.Field(i)); problem != "" {
			if field == "" {
				field = kept.Name
			}
			return field, problem
		}
	}
	return "", ""
}

func yearProblem(y int) string {
	if y < 1 || y > 9999 {
		return fmt.Sprintf("the year %d cannot be kept: give one between 1 and 9999", y)
	}
	return ""
}

// dayProblem: a day is kept as its text, and must come back from it the same.
func dayProblem(d schedule.Date) string {
	if d.IsZero() {
		return ""
	}
	if problem := yearProblem(d.Year); problem != "" {
		return problem
	}
	if back, err := schedule.ParseDate(d.String()); err != nil || back != d {
		return fmt.Sprintf("there is no day %d in month %d of %d: give one that is in the calendar", d.Day, d.Month, d.Year)
	}
	return ""
}

func textProblem(s string) string {
	switch {
	case !utf8.ValidString(s):
		return "the text is not valid UTF-8: save it as UTF-8 and try again"
	case strings.IndexByte(s, 0) >= 0:
		return "the text holds a NUL character: take it out and try again"
	}
	return ""
}
