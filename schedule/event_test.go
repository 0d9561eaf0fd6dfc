package schedule

import (
	"regexp"
	"testing"
)

func TestEventUID(t *testing.T) {
	shape := regexp.MustCompile(`^[0-9a-f]{32}@endshake$`)
	seen := map[string][3]string{}
	for _, of := range [][3]string{
		{"corn-hall", "winding", "going"}, {"corn-hall", "winding", "strike"}, {"corn-hall", "oiling", ""},
		{"corn", "winding", "going"}, {"corn-hall", "winding", ""}, {"corn-hall", "", "winding"},
	} {
		uid := EventUID(of[0], TaskKind(of[1]), of[2])
		if !shape.MatchString(uid) {
			t.Errorf("%v: UID %q", of, uid)
		}
		if was, ok := seen[uid]; ok {
			t.Errorf("%v and %v share the UID %s", was, of, uid)
		}
		seen[uid] = of
		if again := EventUID(of[0], TaskKind(of[1]), of[2]); again != uid {
			t.Errorf("%v: %s, and then %s", of, uid, again)
		}
	}
}
