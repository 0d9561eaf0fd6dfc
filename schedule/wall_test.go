package schedule

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// wallTimes are times on the wall of a zone and in UTC; nothing where they must
// be refused. The changes of clocks are those of the IANA time zone database.
var wallTimes = []struct{ zone, in, want string }{
	{"Europe/London", "2026-07-01T12:00", "2026-07-01T11:00:00Z"},
	{"Europe/London", "2026-01-01 12:00", "2026-01-01T12:00:00Z"},
	{"Europe/London", "2026-01-01T12:00:30", "2026-01-01T12:00:30Z"},
	{"Europe/London", "2026-01-01 12:00:30", "2026-01-01T12:00:30Z"},
	{"Europe/London", "2026-07-01", "2026-06-30T23:00:00Z"},
	{"Europe/London", "2026-07-01T12:00:00+05:30", "2026-07-01T06:30:00Z"},
	{"Europe/London", "2026-03-29T01:30:00Z", "2026-03-29T01:30:00Z"}, // an instant is never left out
	{"Europe/London", "2026-03-29 00:59:59", "2026-03-29T00:59:59Z"},
	{"Europe/London", "2026-03-29 01:00", ""},
	{"Europe/London", "2026-03-29 01:59:59", ""},
	{"Europe/London", "2026-03-29 02:00", "2026-03-29T01:00:00Z"},
	{"Europe/London", "2026-10-25 01:30", "2026-10-25T00:30:00Z"}, // twice: the first
	{"Europe/Berlin", "2026-10-25 02:30", "2026-10-25T00:30:00Z"},
	{"Europe/Berlin", "2026-03-29 02:30", ""},
	{"America/New_York", "2026-11-01 01:30", "2026-11-01T05:30:00Z"},
	{"America/New_York", "2026-03-08 02:30", ""},
	{"Australia/Sydney", "2026-04-05 02:30", "2026-04-04T15:30:00Z"},
	{"Australia/Sydney", "2026-10-04 02:30", ""},
	{"Australia/Lord_Howe", "2026-04-05 01:45", "2026-04-04T14:45:00Z"}, // half an hour only
	{"Australia/Lord_Howe", "2026-10-04 02:15", ""},
	{"Australia/Lord_Howe", "2026-10-04 02:30", "2026-10-03T15:30:00Z"},
	{"America/Havana", "2026-11-01", "2026-11-01T04:00:00Z"}, // midnight twice
	{"America/Havana", "2026-03-08", ""},                     // and left out
	{"America/Havana", "2026-03-08 01:00", "2026-03-08T05:00:00Z"},
	{"Pacific/Apia", "2011-12-30 12:00", ""}, // a whole day left out
	{"Pacific/Apia", "2011-12-29 23:59", "2011-12-30T09:59:00Z"},
	{"Pacific/Apia", "2011-12-31", "2011-12-30T10:00:00Z"},
	{"Pacific/Apia", "2012-04-01 03:30", "2012-03-31T13:30:00Z"},
	{"UTC", "1700-01-01", "1700-01-01T00:00:00Z"},
	{"UTC", "2200-12-31 23:59", "2200-12-31T23:59:00Z"},
	{"UTC", "1699-12-31", ""}, {"UTC", "2201-01-01", ""}, {"UTC", "0001-01-01T00:00:00Z", ""}, {"UTC", "9999-01-01T00:00", ""},
	{"UTC", "", ""}, {"UTC", "yesterday", ""}, {"UTC", "2026-02-30 10:00", ""}, {"UTC", "2026-01-01T24:00", ""}, {"UTC", "2026-01-01T9:00", ""},
	{"UTC", "+002026-01-01T10:00", ""}, {"UTC", "01/02/2026", ""}, {"UTC", "2026-01-01T10:00:61", ""}, {"UTC", " 2026-01-01", ""},
	{"UTC", "2026-01-01\n", ""}, {"UTC", strings.Repeat("2026-01-01T", 500), ""},
}

func TestParseWall(t *testing.T) {
	for _, tt := range wallTimes {
		got, err := ParseWall(tt.in, location(tt.zone))
		switch {
		case tt.want == "":
			if err == nil || strings.ContainsAny(err.Error(), "\n") || !strings.Contains(err.Error(), ": ") || len(err.Error()) > 200 {
				t.Errorf("%.40q in %s: %v, %v; wanted one short sentence", tt.in, tt.zone, got, err)
			}
		case err != nil || got.UTC().Format(time.RFC3339) != tt.want:
			t.Errorf("%q in %s: %v, %v; wanted %s", tt.in, tt.zone, got, err, tt.want)
		}
	}
}

func TestParseWallSaysWhatIsWrong(t *testing.T) {
	for in, want := range map[string]string{
		"2026-03-29 01:30":     "29 Mar 2026, 01:30 does not exist in Europe/London, for a change of clocks leaves it out: give the time that the wall showed",
		"24/11/2026":           `"24/11/2026" is no date and time: write it like 2027-03-09 14:05`,
		"0026-03-29 01:30":     "the year 26 cannot be right: give one from 1700 to 2200",
		"2500-03-29T01:30:00Z": "the year 2500 cannot be right: give one from 1700 to 2200",
	} {
		if _, err := ParseWall(in, location("Europe/London")); err == nil || err.Error() != want {
			t.Errorf("%q: %v, wanted %q", in, err, want)
		}
	}
}

// The way from an instant to the wall is the standard library's and has no
// choice to make. Walked minute by minute over three days around each change
// of clocks, it says which wall times there are, and when each comes first.
func TestParseWallAgainstTheWalk(t *testing.T) {
	const minutes = "2006-01-02 15:04"
	for zone, changes := range map[string][]string{
		"Europe/London": {"2026-03-29", "2026-10-25", "1968-02-18"}, "Europe/Berlin": {"2026-03-29", "2026-10-25", "1945-05-24"},
		"America/New_York": {"2026-03-08", "2026-11-01"}, "Australia/Sydney": {"2026-04-05", "2026-10-04"},
		"Australia/Lord_Howe": {"2026-04-05", "2026-10-04"}, "America/Havana": {"2026-03-08", "2026-11-01"},
		"Pacific/Apia": {"2011-12-30", "2012-04-01"}, "Pacific/Kwajalein": {"1993-08-21"},
	} {
		loc := location(zone)
		for _, day := range changes {
			begin, first := utc(day).Add(-36*time.Hour), map[string]time.Time{}
			for i := range 3 * 24 * 60 {
				at := begin.Add(time.Duration(i) * time.Minute)
				if s := at.In(loc).Format(minutes); first[s].IsZero() {
					first[s] = at
				}
			}
			skipped := 0
			for i := range 24*60 + 1 { // the day itself by the wall, clear of the ends of the walk
				s := utc(day).Add(time.Duration(i) * time.Minute).Format(minutes)
				got, err := ParseWall(s, loc)
				if want, ok := first[s]; ok != (err == nil) || ok && !got.Equal(want) {
					t.Fatalf("%s in %s: %v, %v; the walk has %v", s, zone, got.UTC(), err, want)
				} else if !ok {
					skipped++
				}
			}
			if len(first)+skipped < 24*60 || len(first) == 3*24*60 && skipped == 0 {
				t.Errorf("%s in %s: no clock was changed, so nothing is tested", day, zone)
			}
		}
	}
}

func FuzzParseWall(f *testing.F) {
	for _, s := range []string{"2026-03-29T01:30", "2026-10-25 01:30:59", "2011-12-30", "2026-07-01T12:00:00.5+05:30", "1847-12-01 00:00:40", "9999-99-99", "2026-01-01T10:00:00-24:00"} {
		f.Add(s, "Europe/London")
		f.Add(s, "Pacific/Apia")
	}
	f.Fuzz(func(t *testing.T, s, zone string) {
		loc, err := time.LoadLocation(zone)
		if err != nil {
			return
		}
		got, err := ParseWall(s, loc)
		if err != nil {
			if got != (time.Time{}) && !strings.Contains(err.Error(), "year") || strings.Contains(err.Error(), "\n") {
				t.Errorf("%q: %v, %v", s, got, err)
			}
			return
		}
		if y := got.Year(); y < 1699 || y > 2201 {
			t.Errorf("%q: year %d", s, y)
		}
		if _, err := time.Parse(time.RFC3339, s); err == nil {
			return
		}
		shown, want := got.In(loc), fmt.Sprintf("%s:00", strings.Replace(s, "T", " ", 1))
		if len(s) == len(time.DateOnly) {
			want = s + " 00:00:00"
		}
		if !strings.HasPrefix(want, shown.Format(time.DateTime)) {
			t.Errorf("%q in %s: the wall shows %s", s, zone, shown.Format(time.DateTime))
		}
	})
}

// Every day has a start, in the year after its table's end too: on 31 Dec of
// leap years from 2040 on the end of a zone's bounds lies before it.
func TestEveryDayStarts(t *testing.T) {
	for _, name := range []string{"Europe/London", "America/New_York", "Pacific/Auckland", "Asia/Kolkata", "America/Santiago"} {
		zone := location(name)
		for _, from := range []Date{d("2036-12-20"), d("2039-12-20"), d("2040-12-20"), d("2044-12-20"), d("2100-12-20"), d("2196-12-20")} {
			for i := range 25 {
				day := from.Add(i)
				for _, hour := range []int{0, 6, 13, 23} {
					at := day.At(hour, 30, zone).In(zone)
					if DateOf(at, zone) != day || at.Hour() != hour || at.Minute() != 30 {
						t.Fatalf("%s, %s at %d:30: got %v", name, day, hour, at)
					}
				}
			}
		}
		for at, by, ok := NextChange(zone, utc("2039-06-01")); ok && at.Year() < 2050; at, by, ok = NextChange(zone, at) {
			if by.Abs() != time.Hour {
				t.Errorf("%s changes by %v at %v", name, by, at)
			}
		}
	}
}
