package web

import (
	"math"
	"testing"
	"time"

	"endshake/schedule"
)

func TestWhen(t *testing.T) {
	today := schedule.Date{Year: 2027, Month: 3, Day: 9}
	for _, tc := range []struct {
		state             schedule.TaskState
		from, due, latest int
		want              string
	}{
		{schedule.Late, -60, -40, -21, "3 weeks past its last good day"},
		{schedule.Late, -3, -2, -1, "1 day past its last good day"},
		{schedule.Due, -3, 0, 5, "due today"},
		{schedule.Due, -3, -2, 5, "due since 7 Mar 2027"},
		{schedule.Open, -3, 14, 20, "due 23 Mar 2027, in 14 days"},
		{schedule.Ahead, 30, 60, 90, "may be done from 8 Apr 2027, in 4 weeks"},
		{schedule.Resting, 0, 0, 0, "resting; not before the clock goes again"},
	} {
		task := schedule.Task{State: tc.state, From: today.Add(tc.from), Due: today.Add(tc.due), Latest: today.Add(tc.latest)}
		if got := when(task, today); got != tc.want {
			t.Errorf("%s %d: %q, want %q", tc.state, tc.due, got, tc.want)
		}
	}
	for _, state := range schedule.TaskStates {
		if got := when(schedule.Task{State: state}, today); got == "" {
			t.Errorf("%s without dates says nothing", state)
		}
	}
}

func TestNumbersInWords(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct{ got, want string }{
		{hours(26298.4), "26,298"}, {hours(nan), "not known"}, {percent(0.523), "52 %"}, {percent(nan), "not known"},
		{chance(0), "less than 1 %"}, {chance(0.0149), "1 %"}, {chance(0.5), "50 %"}, {chance(1), "more than 99 %"}, {chance(nan), "not known"},
		{both(0.4199), "0.42 mm (16.5 thou)"}, {both(math.Inf(1)), "not known"},
		{sentence("éclair"), "Éclair."}, {sentence("Done!"), "Done!"}, {sentence(""), ""},
		{schedule.FastSlow(12), "12 s fast"}, {schedule.FastSlow(-0.5), "0.5 s slow"}, {schedule.FastSlow(0), "right"},
		{schedule.FastSlow(-1107), "18 min 27 s slow"}, {schedule.FastSlow(120), "120 s fast"}, {schedule.FastSlow(121), "2 min 1 s fast"}, {schedule.FastSlow(3720), "1 h 2 min fast"}, {schedule.FastSlow(math.Inf(1)), "+Inf s fast"},
		{span(93 * time.Minute), "1 h 33 min"}, {span(2 * time.Hour), "2 hours"}, {span(33 * time.Minute), "33 minutes"}, {span(14*time.Hour + time.Minute), "14 hours"},
		{day(time.Time{}, time.UTC), "not known"}, {schedule.Instant(now, time.UTC), "25 Nov 2026, 10:00"},
	} {
		if tc.got != tc.want {
			t.Errorf("%q, want %q", tc.got, tc.want)
		}
	}
}
