package demo

import (
	"sync"
	"time"

	"endshake/schedule"
)

// life is an invented fleet with the truth beside it, and with what the schedule
// says of it once that is asked for. Tests share it by day and seed: none may
// change it, and one that must invents its own by [Fleet].
type life struct {
	fleet  schedule.Fleet
	log    map[string][]schedule.Entry
	truths []truth
	survey func() *schedule.Snapshot // at 06:00 on its day
}

func (l *life) both() (schedule.Fleet, map[string][]schedule.Entry) { return l.fleet, l.log }

type lifeKey struct {
	today schedule.Date
	seed  uint64
}

var lives sync.Map // of lifeKey to func() *life

// lived invents a fleet once.
func lived(today schedule.Date, seed uint64) *life {
	once, _ := lives.LoadOrStore(lifeKey{today, seed}, sync.OnceValue(func() *life {
		l := &life{}
		l.fleet, l.log, l.truths = invent(today, seed)
		l.survey = sync.OnceValue(func() *schedule.Snapshot {
			loc, err := time.LoadLocation(zone)
			if err != nil {
				panic(err)
			}
			return schedule.Survey(l.fleet, l.log, schedule.Model{}, today.At(6, 0, loc))
		})
		return l
	}))
	return once.(func() *life)()
}
