package oldbook

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"

	"endshake/schedule"
	"endshake/wear"
)

// input is a file that is mistaken or hostile, and what must come of it.
type input struct {
	name    string
	file    []byte
	answers Answers
	log     []schedule.Entry
	fails   string   // what the error says: nothing is read
	want    []string // entries, see brief
	asks    []string // keys of the questions
	refuses []string // begins of the refusals, in order
	flags   []string
	problem string
	notes   string // what is said of how it was read
}

const head = "date,clock,what,bearing,reading,unit,hours,by,note\n"

func rows(lines ...string) []byte { return []byte(head + strings.Join(lines, "\n") + "\n") }

// wide is a text in UTF-16, with its mark or without.
func wide(text string, big, mark bool) []byte {
	var out []byte
	if mark {
		text = "\ufeff" + text
	}
	for _, u := range utf16.Encode([]rune(text)) {
		if big {
			out = append(out, byte(u>>8), byte(u))
		} else {
			out = append(out, byte(u), byte(u>>8))
		}
	}
	return out
}

func in1252(t testing.TB, text string) []byte {
	out, err := charmap.Windows1252.NewEncoder().Bytes([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// read is a reading in the log of the moot hall.
func read(day string, mm float64, key string) schedule.Entry {
	at, err := time.Parse("2006-01-02", day)
	if err != nil {
		panic(err)
	}
	return schedule.Entry{Clock: "moot-hall", Kind: schedule.Measured, At: at, Bearing: "centre-front", Key: key, RecordedAt: now,
		Detail: schedule.Detail{Old: true, Reading: &wear.Reading{Shake: wear.SideShake, Value: wear.FromMM(mm)}}}
}

// ofBytes are the inputs that try how a file is written.
func ofBytes(t testing.TB) []input {
	wound := []string{"2 wound moot-hall 2025-01-13 00:00 by ned \"all well\""}
	line := "2025-01-13,moot-hall,wound,,,,,ned,all well"
	text := head + line + "\n"
	return []input{
		{name: "B01 UTF-8 with a mark", file: append([]byte{0xEF, 0xBB, 0xBF}, text...), want: wound},
		{name: "B02 UTF-16, little end first", file: wide(text, false, true), want: wound, notes: "UTF-16"},
		{name: "B02 UTF-16, big end first", file: wide(text, true, true), want: wound, notes: "UTF-16"},
		{name: "B02 UTF-16 without a mark", file: wide(text, false, false), want: wound, notes: "UTF-16"},
		{name: "B03 Windows-1252", file: in1252(t, head+"2025-01-13,moot-hall,wound,,,,,ned,paid £5 at 4°"), want: []string{"2 wound moot-hall 2025-01-13 00:00 by ned \"paid £5 at 4°\""}, notes: "Windows-1252"},
		{name: "B04 garbled letters are asked for", file: rows("2025-01-13,moot-hall,wound,,,,,ned,cafÃ©"), want: []string{"2 wound moot-hall 2025-01-13 00:00 by ned \"cafÃ©\""}, asks: []string{"letters"}},
		{name: "B04 mended", file: rows("2025-01-13,moot-hall,wound,,,,,ned,cafÃ©"), answers: Answers{"letters": "mend"}, want: []string{"2 wound moot-hall 2025-01-13 00:00 by ned \"café\""}, notes: "mended"},
		{name: "B04 kept", file: rows("2025-01-13,moot-hall,wound,,,,,ned,cafÃ©"), answers: Answers{"letters": "keep"}, want: []string{"2 wound moot-hall 2025-01-13 00:00 by ned \"cafÃ©\""}},
		{name: "B05 returns alone", file: []byte(strings.ReplaceAll(text, "\n", "\r")), want: wound},
		{name: "B05 returns and lines", file: []byte(strings.ReplaceAll(text, "\n", "\r\n")), want: wound},
		{name: "B05 mixed", file: []byte(strings.Replace(text, "\n", "\r", 1)), want: wound},
		{name: "B06 a NUL", file: rows(line, "2025-01-14,moot-hall,wound,,,,,ned,a\x00b"), want: wound, refuses: []string{"Row 3, column I: “a b” holds a character that does not print"}},
		{name: "B07 one line without end", file: []byte(head + strings.Repeat("x", 1<<20)), fails: "more than 64 KB"},
		{name: "B07 a file without end", file: bytes.Repeat([]byte("x"), OfPage.Bytes+1), fails: "larger than 2 MB"},
		{name: "B08 a quote left open", file: rows(line, `2025-01-14,moot-hall,wound,,,,,ned,"all`, line), fails: "row 3: a quotation mark is left open"},
		{name: "B08 open over many lines", file: rows(line, `2025-01-14,moot-hall,wound,,,,,ned,"all`+strings.Repeat("\nx", 70)+`"`), fails: "row 3, column I: a cell runs over more than 60 lines"},
		{name: "B08 a quote alone", file: rows(line, `2025-01-14,moot-hall,wound,,,,,ned,a 5" bolt`), want: wound, refuses: []string{"Row 3, column I: a quotation mark stands alone"}},
		{name: "B09 a line break in a note", file: rows("2025-01-13,moot-hall,wound,,,,,ned,\"all\nwell\""), want: []string{"2 wound moot-hall 2025-01-13 00:00 by ned \"all\\nwell\""}},
		{name: "B10 semicolons", file: []byte(strings.ReplaceAll(text, ",", ";")), want: wound, notes: "semicolons"},
		{name: "B10 tabs", file: []byte(strings.ReplaceAll(text, ",", "\t")), want: wound, notes: "tabs"},
		{name: "B10 semicolons around decimal commas", file: []byte("date;clock;bearing;reading (mm)\n2025-01-13;moot-hall;centre-front;0,21\n2025-06-13;moot-hall;centre-front;0,22\n"),
			want: []string{"2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=210um", "3 measured moot-hall 2025-06-13 00:00 centre-front side-shake=220um"}, notes: "decimal comma, as row 2"},
		{name: "B10 nothing parts the cells", file: []byte("all was well\nand still is\n"), fails: "no commas, semicolons or tabs"},
		{name: "a picture", file: []byte("\x89PNG\r\n\x1a\n"), fails: "it is a picture"},
		{name: "nothing", file: []byte(" \n"), fails: "it is empty"},
	}
}

// ofFigures are those that try figures and units.
func ofFigures(testing.TB) []input {
	reading := func(value, unit string) []byte {
		return rows("2025-01-13,moot-hall,measured,centre-front," + value + "," + unit + ",,,")
	}
	got := func(um int) []string {
		return []string{fmt.Sprintf("2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=%dum", um)}
	}
	refused := func(value, unit, words string) input {
		return input{name: "B27 " + value, file: reading(value, unit), refuses: []string{"Row 2, column E: " + words}}
	}
	out := []input{
		{name: "B11 a decimal comma", file: reading(`"0,25"`, "mm"), want: got(250), notes: "decimal comma"},
		{name: "B12 thousands or decimals", file: reading(`"1,250"`, "um"), asks: []string{"decimal"}},
		{name: "B12 thousands", file: reading(`"1,250"`, "um"), answers: Answers{"decimal": "thousands", "sure": "2"}, want: []string{got(1250)[0] + " sure"}},
		{name: "B12 decimals", file: reading(`"1,250"`, "mm"), answers: Answers{"decimal": "decimal", "sure": "2"}, want: []string{got(1250)[0] + " sure"}},
		{name: "B12 told by another row", file: rows(`2025-01-13,moot-hall,measured,centre-front,"0,25",mm,,,`, `2025-06-13,moot-hall,measured,centre-front,"1,250",mm,,,`),
			want:    []string{"2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=250um"},
			refuses: []string{"Row 3, column E: 1.25 mm (49.2 thou) does not fit"}},
		{name: "B12 one file, both ways", file: rows(`2025-01-13,moot-hall,measured,centre-front,"0,25",mm,"1,250.5",,`), asks: []string{"decimal"}},
		{name: "B13 units mixed", file: rows("2025-01-13,moot-hall,measured,centre-front,0.25,mm,,,", "2025-03-13,moot-hall,measured,centre-front,10,thou,,,", "2025-05-13,moot-hall,measured,centre-front,260,um,,,", "2025-07-13,moot-hall,measured,centre-front,0.0104,in,,,"),
			want: []string{"2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=250um", "3 measured moot-hall 2025-03-13 00:00 centre-front side-shake=254um",
				"4 measured moot-hall 2025-05-13 00:00 centre-front side-shake=260um", "5 measured moot-hall 2025-07-13 00:00 centre-front side-shake=264um"}},
		{name: "B14 the unit in the cell", file: reading("12 thou", ""), want: got(305)},
		{name: "B14 and another beside it", file: reading("12 thou", "mm"), want: got(305)}, // what stands at the figure is of it
		{name: "B14 a fraction", file: reading("1/100 in", ""), want: got(254)},
		{name: "B14 an unknown unit", file: reading("12 mils", ""), refuses: []string{"Row 2, column E: “12 mils” has an unknown unit"}},
		{name: "B15 no unit", file: reading("0.25", ""), asks: []string{"unit E"}},
		{name: "B15 answered", file: reading("0.25", ""), answers: Answers{"unit E": "mm"}, want: got(250)},
		{name: "B15 no such unit", file: reading("0.25", ""), answers: Answers{"unit E": "ells"}, asks: []string{"unit E"}},
		{name: "B24 less than before", file: rows("2020-01-13,moot-hall,measured,dial-shaft-foot,0.90 mm,,,,", "2024-01-13,moot-hall,measured,dial-shaft-foot,0.70 mm,,,,"),
			want:  []string{"2 measured moot-hall 2020-01-13 00:00 dial-shaft-foot end-shake=900um", "3 measured moot-hall 2024-01-13 00:00 dial-shaft-foot end-shake=700um"},
			flags: []string{"Row 3, column E: 0.70 mm (27.6 thou) is less than the 0.90 mm (35.4 thou) before it, and no repair"}},
		{name: "B25 ten times", file: rows("2020-01-13,moot-hall,measured,centre-front,0.12 mm,,,,", "2022-01-13,moot-hall,measured,centre-front,0.14 mm,,,,", "2024-01-13,moot-hall,measured,centre-front,1.5 mm,,,,"),
			want:    []string{"2 measured moot-hall 2020-01-13 00:00 centre-front side-shake=120um", "3 measured moot-hall 2022-01-13 00:00 centre-front side-shake=140um"},
			refuses: []string{"Row 4, column E: 1.50 mm (59.1 thou) does not fit: about 0.12 mm (4.7 thou) was expected. Was it 0.15 mm, 5.9 thou (the decimal point)?"}},
		{name: "B25 right as written", file: rows("2020-01-13,moot-hall,measured,centre-front,0.12 mm,,,,", "2022-01-13,moot-hall,measured,centre-front,0.14 mm,,,,", "2024-01-13,moot-hall,measured,centre-front,1.5 mm,,,,"), answers: Answers{"sure": "4"},
			want: []string{"2 measured moot-hall 2020-01-13 00:00 centre-front side-shake=120um", "3 measured moot-hall 2022-01-13 00:00 centre-front side-shake=140um", "4 measured moot-hall 2024-01-13 00:00 centre-front side-shake=1500um sure"}},
		{name: "B26 inches for millimetres", file: rows("2020-01-13,moot-hall,measured,centre-front,0.12 mm,,,,", "2022-01-13,moot-hall,measured,centre-front,0.14 mm,,,,", "2024-01-13,moot-hall,measured,centre-front,0.15 in,,,,"),
			want:    []string{"2 measured moot-hall 2020-01-13 00:00 centre-front side-shake=120um", "3 measured moot-hall 2022-01-13 00:00 centre-front side-shake=140um"},
			refuses: []string{"Row 4, column E: 3.81 mm (150.0 thou) does not fit"}},
	}
	return append(out, refused("0", "mm", "“0” is no freedom at all"), refused("-0.3", "mm", "reading: -0.30 mm"), refused("NaN", "mm", "“NaN” is no figure"),
		refused("Inf", "mm", "“Inf” is no figure"), refused("1e308", "mm", "“1e308” is no plain figure"), refused("99999999999999999999", "mm", "\"99999999999999999999 mm\" is beyond 200 m"),
		refused("0x1p4", "mm", "“0x1p4” is no plain figure"), refused("500", "mm", "reading: 500 mm"), refused("half", "mm", "“half” is no figure"))
}

// ofDays are those that try dates.
func ofDays(testing.TB) []input {
	on := func(days ...string) []byte {
		var lines []string
		for _, d := range days {
			lines = append(lines, d+",moot-hall,wound,,,,,,")
		}
		return rows(lines...)
	}
	got := func(days ...string) (out []string) {
		for i, d := range days {
			out = append(out, fmt.Sprintf("%d wound moot-hall %s 00:00", i+2, d))
		}
		return out
	}
	return []input{
		{name: "B16 which comes first", file: on("05/02/2025", "12/03/2025"), asks: []string{"dates"}},
		{name: "B16 the day", file: on("05/02/2025"), answers: Answers{"dates": "day-first"}, want: got("2025-02-05")},
		{name: "B16 the month", file: on("02/05/2025"), answers: Answers{"dates": "month-first"}, want: got("2025-02-05")},
		{name: "B16 another row tells it", file: on("05/02/2025", "25/02/2025"), want: got("2025-02-05", "2025-02-25"), notes: "day first, as row 3"},
		{name: "B16 rows that tell otherwise", file: on("25/02/2025", "02/26/2025"), asks: []string{"dates"}},
		{name: "B16 and then one is no day", file: on("25/02/2025", "02/26/2025"), answers: Answers{"dates": "day-first"}, want: got("2025-02-25"), refuses: []string{"Row 3, column A: “02/26/2025” is no day with the day first"}},
		{name: "B16 written out", file: on("5 Feb 2025", "February 7th 2025", "Sun 9-Feb-2025"), want: got("2025-02-05", "2025-02-07", "2025-02-09")},
		{name: "B17 a day that is not", file: on("31/02/2025", "30/01/2025"), refuses: []string{"Row 2, column A: “31/02/2025”: there is no 31 Feb 2025"}, want: []string{"3 wound moot-hall 2025-01-30 00:00"}},
		{name: "B17 a month that is not", file: on("2025-13-01"), refuses: []string{"Row 2, column A: “2025-13-01”: there is no 1 13 2025"}},
		{name: "B17 not a day at all", file: on("2025-01-13", "last week", "2025", ""), refuses: []string{"Row 3, column A: “last week” is no day", "Row 4, column A: “2025” is no day", "Row 5, column A: the date is empty"}, want: got("2025-01-13")},
		{name: "B18 two figures", file: on("25/02/25"), asks: []string{"dates"}},
		{name: "B18 the century", file: on("25/02/25"), answers: Answers{"dates": "day-first"}, asks: []string{"century"}},
		{name: "B18 answered", file: on("25/02/25"), answers: Answers{"dates": "day-first", "century": "20"}, want: got("2025-02-25")},
		{name: "B18 the last one", file: on("24/11/26", "26/11/26"), answers: Answers{"dates": "day-first", "century": "latest"}, want: got("2026-11-24"), refuses: []string{"Row 3, column A: 26 Nov 1926 is before the log of Moot hall clock begins"}},
		{name: "B19 day numbers", file: on("45670"), asks: []string{"base"}},
		{name: "B19 from 1900", file: on("45670"), answers: Answers{"base": "1900"}, want: got("2025-01-13")}, // 45658 is 1 Jan 2025 in the 1900 system (ECMA-376, part 1, 18.17.4.1)
		{name: "B19 from 1904", file: on("44208"), answers: Answers{"base": "1904"}, want: got("2025-01-13")},
		{name: "B20 long ago", file: on("1751-03-04", "1066-10-14"), refuses: []string{"Row 2, column A: 4 Mar 1751 is before the log of Moot hall clock begins (1 Jan 2010)", "Row 3, column A: the year 1066 cannot be right"}},
		{name: "B21 ahead", file: on("2027-01-01"), refuses: []string{"Row 2, column A: 1 Jan 2027 00:00 lies in the future"}},
		{name: "B22 before the part", file: rows("2015-01-13,moot-hall,measured,centre-front,0.2 mm,,,,"), refuses: []string{"Row 2, column A: a reading of centre-front before its part was fitted (1 Jan 2018)"}},
		{name: "B22 before the log", file: on("2009-12-31"), refuses: []string{"Row 2, column A: 31 Dec 2009 is before the log of Moot hall clock begins"}},
		{name: "a time that was left out", file: on("2025-03-30 01:30"), refuses: []string{"Row 2, column A: 30 Mar 2025, 01:30 does not exist in Europe/London"}},
	}
}

// ofBooks are those that try a file as a whole.
func ofBooks(t *testing.T) []input {
	line := "2025-01-13,moot-hall,measured,centre-front,0.21 mm,,,,"
	first := []string{"2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=210um"}
	there := []string{first[0] + " there"}
	key := func() string {
		b, err := taken(t, rows(line), nil)
		if err != nil || len(b.Taken) != 1 {
			t.Fatalf("%v %v", b, err)
		}
		return b.Taken[0].Key
	}()
	return []input{
		{name: "B23 run-hours go back", file: rows("2025-01-13,moot-hall,,,,,1250,,", "2025-02-13,moot-hall,,,,,1200,,"), answers: Answers{"meter moot-hall": "going"},
			want:  []string{"2 noted moot-hall 2025-01-13 00:00 going meter=1250", "3 noted moot-hall 2025-02-13 00:00 going meter=1200"},
			flags: []string{"Row 3, column G: the hour meter shows 1200 h, less than the 1250 h before it"}},
		{name: "B23 whose meter", file: rows("2025-01-13,moot-hall,,,,,1250,,"), asks: []string{"meter moot-hall"}},
		{name: "B28 a number twice", file: []byte("no,date,clock,what\n1,2025-01-13,moot-hall,wound\n1,2025-01-20,moot-hall,wound\n"), want: []string{"2 wound moot-hall 2025-01-13 00:00"}, refuses: []string{"Row 3, column A: row 2 has the number “1” too"}},
		{name: "B28 a row twice", file: rows(line, line), want: first, refuses: []string{"Row 3, column E: it says again what row 2 says"}},
		{name: "B28 twice with another rounding", file: rows(line, strings.Replace(line, "0.21", "0.212", 1)), want: first, refuses: []string{"Row 3, column E: it says again what row 2 says"}},
		{name: "B28 two readings of a day", file: rows(line, strings.Replace(line, "0.21", "0.26", 1)), want: first, refuses: []string{"Row 3, column E: row 2 says otherwise of the same day, and no time is given"}},
		{name: "B28 the refused left out", file: rows(line, line), answers: Answers{"leave out": "yes"}, want: first, refuses: []string{"Row 3"}},
		{name: "B29 the file twice", file: rows(line), log: []schedule.Entry{read("2025-01-13", .21, key)}, want: there},
		{name: "B29 logged by hand before", file: rows(line), log: []schedule.Entry{read("2025-01-13", .21, "")}, want: there},
		{name: "B30 rounded more", file: rows(strings.Replace(line, "0.21", "0.2", 1)), log: []schedule.Entry{read("2025-01-13", .21, key)}, want: []string{"2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=200um there"}},
		{name: "B30 rounded less", file: rows(strings.Replace(line, "0.21", "0.2142", 1)), log: []schedule.Entry{read("2025-01-13", .21, key)}, want: []string{"2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=214um there"}},
		{name: "B30 in another unit", file: rows(strings.Replace(line, "0.21 mm", "8 thou", 1)), log: []schedule.Entry{read("2025-01-13", .21, key)}, want: []string{"2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=203um there"}},
		{name: "B30 another figure", file: rows(strings.Replace(line, "0.21", "0.31", 1)), log: []schedule.Entry{read("2025-01-13", .21, key)}, refuses: []string{"Row 2, column E: the log has this already, as 0.21 mm (8.3 thou)"}},
		{name: "B31 an unknown clock", file: rows("2025-01-13,the old mill,wound,,,,,,"), asks: []string{"clock the old mill"}},
		{name: "B31 two of one name", file: rows("2025-01-13,Town clock,inspected,,,,,,"), asks: []string{"clock town clock"}},
		{name: "B31 answered", file: rows("2025-01-13,Town clock,inspected,,,,,,"), answers: Answers{"clock town clock": "south"}, want: []string{"2 inspected south 2025-01-13 00:00"}},
		{name: "B31 none named", file: rows("2025-01-13,,wound,,,,,,"), asks: []string{"clock"}},
		{name: "B31 left out", file: rows("2025-01-13,the old mill,wound,,,,,,", line), answers: Answers{"clock the old mill": "left out"}, want: []string{"3" + first[0][1:]}},
		{name: "B32 no header", file: []byte("2025-01-13,moot-hall,wound,ned\n2025-01-20,moot-hall,wound,ned\n"), want: []string{"1 wound moot-hall 2025-01-13 00:00 by ned", "2 wound moot-hall 2025-01-20 00:00 by ned"}, notes: "No row names the columns"},
		{name: "B32 another language", file: []byte("Datum;Uhr;Arbeit;Wer;Bemerkung\n2025-01-13;moot-hall;wound;ned;well\n2025-01-20;moot-hall;wound;ned;cold\n"), asks: []string{"column E"},
			want: []string{"2 wound moot-hall 2025-01-13 00:00 by ned", "3 wound moot-hall 2025-01-20 00:00 by ned"}},
		{name: "B32 and said", file: []byte("Datum;Uhr;Arbeit;Wer;Bemerkung\n2025-01-13;moot-hall;wound;ned;well\n"), answers: Answers{"column E": "note"}, want: []string{"2 wound moot-hall 2025-01-13 00:00 by ned \"well\""}},
		{name: "B32 a header twice", file: []byte("date,date,clock,what\n2025-01-13,2025-01-14,moot-hall,wound\n"), asks: []string{"column A", "column B"}},
		{name: "B32 and said which", file: []byte("date,date,clock,what\n2025-01-13,2025-01-14,moot-hall,wound\n"), answers: Answers{"column B": "date", "column A": "left out"}, want: []string{"2 wound moot-hall 2025-01-14 00:00"}},
		{name: "B32 no date", file: []byte("clock,what\nmoot-hall,wound\n"), problem: "No column is taken for the date"},
		{name: "B32 a role that is none", file: rows(line), answers: Answers{"column A": "birthday"}, want: first, problem: "Column A cannot be “birthday”"},
		{name: "B33 ragged", file: rows("2025-01-13,moot-hall,wound", "2025-01-20,moot-hall,wound,,,,,,cold,wet"), want: []string{"2 wound moot-hall 2025-01-13 00:00", "3 wound moot-hall 2025-01-20 00:00 \"cold\""}, asks: []string{"column J"}},
		{name: "B38 like a formula", file: rows("2025-01-13,moot-hall,,,,,,,=1+1", "2025-01-14,moot-hall,,,,,,,@ten", "2025-01-15,moot-hall,,,,,,,+ wet", "2025-01-16,moot-hall,,,,,,,'-cold"),
			want: []string{"2 noted moot-hall 2025-01-13 00:00 \"=1+1\"", "3 noted moot-hall 2025-01-14 00:00 \"@ten\"", "4 noted moot-hall 2025-01-15 00:00 \"+ wet\"", "5 noted moot-hall 2025-01-16 00:00 \"-cold\""}},
		{name: "B38 where a figure is", file: rows("2025-01-13,moot-hall,measured,centre-front,=0.21,mm,,,"), refuses: []string{"Row 2, column E: “=0.21” is no plain figure"}},
		{name: "what was done, not known", file: rows("2025-01-13,moot-hall,serviced,,,,,,"), asks: []string{"what serviced"}},
		{name: "and answered", file: rows("2025-01-13,moot-hall,serviced,,,,,,"), answers: Answers{"what serviced": "oiled"}, want: []string{"2 oiled moot-hall 2025-01-13 00:00 \"serviced\""}},
		{name: "who is not known", file: rows("2025-01-13,moot-hall,wound,,,,,J. B.,"), answers: Answers{"who j b": "as a note"}, want: []string{"2 wound moot-hall 2025-01-13 00:00 \"by J. B.\""}},
	}
}

// ofWorkbooks are those in XLSX.
func ofWorkbooks(t *testing.T) []input {
	wound := []string{"2 wound moot-hall 2025-01-13 00:00"}
	day := time.Date(2025, 1, 13, 0, 0, 0, 0, time.UTC)
	base := func(is1904 bool) []byte {
		return workbook(t, func(f *excelize.File) {
			if err := f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &is1904}); err != nil {
				t.Fatal(err)
			}
			sheetHand{t, f}.put([]any{"date", "clock", "what"}, []any{day, "moot-hall", "wound"})
		})
	}
	table := [][]string{{"date", "clock", "what"}, {"2025-01-13", "moot-hall", "wound"}}
	many := make([]string, 16384)
	for i := range many {
		many[i] = "x"
	}
	bomb := asSheet(table...) + "<!--" + strings.Repeat(" ", int(OfPage.Unpacked)) + "-->"
	link := map[string]string{
		"xl/externalLinks/externalLink1.xml":            `<?xml version="1.0"?><externalLink xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><externalBook/></externalLink>`,
		"xl/externalLinks/_rels/externalLink1.xml.rels": `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/externalLinkPath" Target="http://192.0.2.1/x.xlsx" TargetMode="External"/></Relationships>`}
	shared := func(bytes int) map[string]string {
		return map[string]string{"xl/sharedStrings.xml": `<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><r><t>` + strings.Repeat("x", bytes) + `</t></r></si></sst>`}
	}
	more := func(n int, row string) string {
		return strings.Replace(asSheet(table...), "</sheetData>", strings.Repeat(row, n)+"</sheetData>", 1)
	}
	formulas := strings.Replace(asSheet([]string{"date", "clock", "bearing", "reading (mm)"}, []string{"2025-01-13", "moot-hall", "centre-front"}, []string{"2025-06-13", "moot-hall", "centre-front"}),
		"</row></sheetData>", `<c t="e"><f>A1/0</f><v>#DIV/0!</v></c></row><row><c t="inlineStr"><is><t>2025-07-13</t></is></c><c t="inlineStr"><is><t>moot-hall</t></is></c><c t="inlineStr"><is><t>centre-front</t></is></c><c><f>0.1+0.11</f><v>0.21</v></c></row><row><c t="e"><f>B9</f><v>#REF!</v></c><c t="inlineStr"><is><t>moot-hall</t></is></c></row></sheetData>`, 1)
	return []input{
		{name: "B19 a workbook from 1900", file: base(false), want: wound},
		{name: "B19 a workbook from 1904", file: base(true), want: wound, notes: "1904"},
		{name: "B35 packed by hand", file: packed(t, asSheet(table...), nil), want: wound},
		{name: "B35 a bomb", file: packed(t, bomb, nil), fails: "unpacks to more than 48 MB"},
		{name: "B35 a link to elsewhere", file: packed(t, asSheet(table...), link), want: wound},
		{name: "B35 all columns", file: packed(t, asSheet(many, many), nil), fails: "has 16384 columns"},
		{name: "B35 rows of nothing", file: packed(t, more(5000, `<row><c r="XFD1" t="str"><v> </v></c></row>`), nil), fails: "unfold to more than 48 MB"},
		{name: "B35 one text all over a row", file: packed(t, more(1, "<row>"+strings.Repeat(`<c t="s"><v>0</v></c>`, 100)+"</row>"), shared(1<<20)), fails: "unfold to more than 48 MB"},
		{name: "B35 in a row that comes in parts", file: packed(t, more(100, `<row r="3"><c t="s"><v>0</v></c></row>`), shared(1<<20)), fails: "unfold to more than 48 MB"},
		{name: "B35 down the rows", file: packed(t, more(1000, `<row><c t="s"><v>0</v></c></row>`), shared(60<<10)), fails: "unfold to more than 48 MB"},
		{name: "B35 some rows of nothing", file: packed(t, more(1000, `<row><c r="XFD1" t="str"><v> </v></c></row>`), nil), want: wound},
		{name: "B35 cut short", file: packed(t, strings.TrimSuffix(asSheet(table...), "</row></sheetData></worksheet>"), nil), fails: "damaged"},
		{name: "B35 no workbook", file: zipped(t, map[string]string{"a.txt": "x"}), fails: "damaged"},
		{name: "B35 cut in the middle", file: base(false)[:2000], fails: "damaged"},
		{name: "B36 formulas and their errors", file: packed(t, formulas, nil), want: []string{"4 measured moot-hall 2025-07-13 00:00 centre-front side-shake=210um"},
			refuses: []string{"Row 2: the row has a date and nothing", "Row 3, column D: “#DIV/0!” is an error of the spreadsheet", "Row 5, column A: “#REF!” is an error of the spreadsheet"}},
	}
}

// Of each input comes what is written down beside it: no crash, nothing silently
// changed, and what is refused names its row and column.
func TestInputs(t *testing.T) {
	seen := map[string]bool{}
	for _, group := range [][]input{ofBytes(t), ofFigures(t), ofDays(t), ofBooks(t), ofWorkbooks(t)} {
		for _, in := range group {
			seen[in.name[:3]] = true
			t.Run(in.name, func(t *testing.T) { in.hold(t) })
		}
	}
	// B34 is in TestManyRows; B37 is of JSON, and of answers in TestAnswers.
	for n := 1; n <= 38; n++ {
		if name := fmt.Sprintf("B%02d", n); !seen[name] && n != 34 && n != 37 {
			t.Errorf("%s is tried nowhere", name)
		}
	}
}

// What a row unfolds to is known before it is made: it may be more than there is
// memory.
func TestRowsAreWeighedFirst(t *testing.T) {
	text := map[string]string{"xl/sharedStrings.xml": `<sst><si><t>` + strings.Repeat("x", 1000) + `</t></si></sst>`}
	cell, other := `<c t="s"><v>0</v></c>`, `<c><v>1</v></c>`
	for _, c := range []struct {
		name, rows string
		bytes      int64 // of the row that unfolds to most
	}{
		{"one row", "<row>" + strings.Repeat(cell, 9) + "</row>", 9000},
		{"rows apart", strings.Repeat("<row>"+cell+"</row>", 9), 1000},
		{"rows of one number", strings.Repeat(`<row r="7">`+cell+"</row>", 9), 9000},
		{"rows behind it that begin again", `<row r="7">` + cell + `</row><row r="2">` + cell + "</row><row>" + cell + "</row>", 3000},
		{"figures", "<row>" + strings.Repeat(other, 9) + cell + "</row>", 1000},
	} {
		file := packed(t, "<worksheet><sheetData>"+c.rows+"</sheetData></worksheet>", text)
		var f folds
		z, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range z.File {
			if err := whole(t.Context(), part, strings.Contains(part.Name, "sheet") || strings.Contains(part.Name, "shared"), &f); err != nil {
				t.Fatal(err)
			}
		}
		if got := f.longest * f.widest; got != c.bytes {
			t.Errorf("%s: it unfolds to %d bytes, want %d", c.name, got, c.bytes)
		}
		if err := sound(t.Context(), file, 1<<20); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	big := packed(t, "<worksheet><sheetData><row>"+strings.Repeat(cell, 2000)+"</row></sheetData></worksheet>", text)
	if err := sound(t.Context(), big, 1<<20); err == nil || !strings.Contains(err.Error(), "unfold to more than 1 MB") {
		t.Errorf("a row of 2 MB: %v", err)
	}
}

// Reading ends with its context, whatever the file is.
func TestReadingEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	table := [][]string{{"date", "clock", "what"}, {"2025-01-13", "moot-hall", "wound"}}
	for name, file := range map[string][]byte{"CSV": rows("2025-01-13,moot-hall,wound,,,,,ned,"), "XLSX": packed(t, asSheet(table...), nil)} {
		if s, err := Open(ctx, "book", file, OfPage, nil); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: read as %+v, %v", name, s, err)
		}
	}
}

func (in input) hold(t *testing.T) {
	b, err := taken(t, in.file, in.answers, in.log...)
	if in.fails != "" {
		if err == nil || !strings.Contains(err.Error(), in.fails) {
			t.Fatalf("%v, want an error with %q", err, in.fails)
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	var got, asks []string
	for i := range b.Taken {
		got = append(got, brief(&b.Taken[i]))
	}
	if !slices.Equal(got, in.want) {
		t.Errorf("entries\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(in.want, "\n"))
	}
	for _, q := range b.Questions {
		asks = append(asks, q.Key)
		if len(q.Choices) == 0 || q.Words == "" || len(q.Examples) == 0 {
			t.Errorf("the question %+v cannot be answered", q)
		}
	}
	if !slices.Equal(asks, in.asks) {
		t.Errorf("asks %q, want %q", asks, in.asks)
	}
	begin := func(what string, all []Refusal, want []string) {
		for i, r := range all {
			if i >= len(want) || !strings.HasPrefix(r.String(), want[i]) {
				t.Errorf("%s %q, want %q", what, all, want)
				return
			}
		}
		if len(all) != len(want) {
			t.Errorf("%s %q, want %q", what, all, want)
		}
	}
	begin("refuses", b.Refusals, in.refuses)
	begin("flags", b.Flags, in.flags)
	if all := strings.Join(b.Problems, " "); in.problem == "" != (all == "") || !strings.Contains(all, in.problem) {
		t.Errorf("problems %q, want %q", all, in.problem)
	}
	if all := strings.Join(b.Notes, " "); !strings.Contains(all, in.notes) {
		t.Errorf("notes %q, want %q", all, in.notes)
	}
	_, err = b.Keep()
	if may := in.problem == "" && in.asks == nil && (in.refuses == nil || in.answers.LeaveOut()); may != (err == nil) {
		t.Errorf("may be kept: %v, %v", may, err)
	}
}
