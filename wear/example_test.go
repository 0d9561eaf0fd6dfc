package wear_test

import (
	"fmt"
	"math"
	"time"

	"endshake/wear"
)

// A thrust bearing is measured four times in five years. When will its
// end-shake reach 0.80 mm?
func ExampleFilter() {
	prior := wear.Prior{Mu: math.Log(.01), Om: 1.2, From: "an example"}
	post, err := wear.Filter(prior, wear.DefaultParams(), []wear.Segment{{
		Start: &wear.Level{Mean: .20, SD: .02},
		Readings: []wear.Gauge{
			{H: 8.7, Y: .28, SD: .03}, // thousands of run-hours, mm
			{H: 17.5, Y: .33, SD: .03},
			{H: 30.6, Y: .47, SD: .03},
			{H: 43.8, Y: .55, SD: .03},
		},
	}})
	if err != nil {
		fmt.Println(err)
		return
	}
	level := post.Level()
	fmt.Printf("now %.2f ± %.2f mm\n", level.Mean, level.SD)
	early, late := post.Crossing(.80, post.Now(), .1), post.Crossing(.80, post.Now(), .9)
	fmt.Printf("0.80 mm after %.0f to %.0f thousand run-hours\n", early.H, late.H)
	// Output:
	// now 0.55 ± 0.03 mm
	// 0.80 mm after 64 to 92 thousand run-hours
}

// A clock that runs eight days is wound late once.
func ExampleNewRunning() {
	start := time.Date(2026, 5, 1, 9, 0, 0, 0, time.UTC)
	day := func(d int) time.Time { return start.AddDate(0, 0, d) }
	run, err := wear.NewRunning(start, 8*24*time.Hour, []wear.RunEvent{
		{At: day(0), Kind: wear.RunWound},
		{At: day(7), Kind: wear.RunWound},
		{At: day(17), Kind: wear.RunWound},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	hours := run.At(day(24))
	fmt.Printf("%.0f run-hours, %.0f to %.0f\n", hours.Likely, hours.Lower, hours.Upper)
	down, _ := run.RunsDown(day(24))
	fmt.Println("runs down", down.Format("2 Jan 2006"))
	// Output:
	// 528 run-hours, 528 to 576
	// runs down 26 May 2026
}

func ExampleParseLength() {
	l, err := wear.ParseLength("5/64 in")
	fmt.Println(l.Both(wear.MM), err)
	_, err = wear.ParseLength("0.42")
	fmt.Println(err)
	// Output:
	// 1.984 mm (78.1 thou) <nil>
	// length "0.42" has no unit: write mm, in or thou after it
}
