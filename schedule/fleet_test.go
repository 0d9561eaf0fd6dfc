package schedule

import (
	"reflect"
	"testing"

	"endshake/wear"
)

// A bearing is put in the place of its own kind of code alone, and whoever holds
// the clock as it was sees no change.
func TestWithBearing(t *testing.T) {
	c := Clock{Trains: []wear.Train{{Code: "going", Arbors: []wear.Arbor{{Code: "great", Bearings: []wear.Bearing{{Code: "a"}, {Code: "b"}}}, {Code: "centre", Bearings: []wear.Bearing{{Code: "c"}}}}}}}
	limit := &wear.Limit{Size: 800, Source: "survey"}
	got := c.WithBearing(wear.Bearing{Code: "b", Act: limit})
	for code, want := range map[string]*wear.Limit{"a": nil, "b": limit, "c": nil} {
		if b, _, _, ok := got.Bearing(code); !ok || b.Act != want {
			t.Errorf("%s has %v, want %v", code, b.Act, want)
		}
		if b, _, _, _ := c.Bearing(code); b.Act != nil {
			t.Errorf("%s of the clock as it was has %v", code, b.Act)
		}
	}
	if again := c.WithBearing(wear.Bearing{Code: "none", Act: limit}); !reflect.DeepEqual(again, c) {
		t.Errorf("a bearing that is not there: %v", again)
	}
}
