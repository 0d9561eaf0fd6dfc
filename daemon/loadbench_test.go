package daemon

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"endshake/schedule"
)

// BenchmarkLoad asks the running service, with five hundred clocks on SQLite, fifty
// times a second for what people and programs ask for, one in ten of it an entry that
// is logged, for as many seconds as ENDSHAKE_SECONDS says, else ten. The requests go
// out at their times whether or not those before are answered. It gives the slowest
// but one in a hundred and but one in a thousand in ms, how many entries were logged
// (201), what was answered neither so nor with 200, and how many goroutines and how
// much of the heap there is at the end as multiples of those after the first quarter.
func BenchmarkLoad(b *testing.B) {
	const rate, clocks = 50, 500
	seconds, err := strconv.Atoi(os.Getenv("ENDSHAKE_SECONDS"))
	if err != nil || seconds < 1 {
		seconds = 10
	}
	base, desk := running(b, clocks)
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}, Timeout: time.Minute}
	defer client.CloseIdleConnections()
	b.ResetTimer()
	var mu sync.Mutex
	var times []time.Duration
	var wg sync.WaitGroup
	said, quarter := map[int]int{}, state{}
	r := rand.New(rand.NewPCG(1, 2))
	tick := time.NewTicker(time.Second / rate)
	defer tick.Stop()
	for i := range seconds * rate {
		<-tick.C
		c := desk.Snapshot().Clocks[r.IntN(clocks)]
		wg.Go(func() {
			began := time.Now()
			status := ask(client, base, c, i)
			mu.Lock()
			defer mu.Unlock()
			times = append(times, time.Since(began))
			said[status]++
		})
		if i == seconds*rate/4 {
			quarter = stateNow()
		}
	}
	wg.Wait()
	end := stateNow()
	slices.Sort(times)
	b.ReportMetric(float64(times[len(times)*99/100].Microseconds())/1000, "p99-ms")
	b.ReportMetric(float64(times[len(times)*999/1000].Microseconds())/1000, "p99.9-ms")
	b.Logf("answers by their status (0: none): %v", said)
	b.ReportMetric(float64(said[http.StatusCreated]), "logged")
	b.ReportMetric(float64(len(times)-said[http.StatusOK]-said[http.StatusCreated]), "wrong")
	b.ReportMetric(float64(end.heap)/float64(quarter.heap), "of-heap")
	b.ReportMetric(float64(end.goroutines)/float64(quarter.goroutines), "of-goroutines")
	b.ReportMetric(0, "ns/op")
}

// state is what must not grow with the requests.
type state struct {
	heap       uint64
	goroutines int
}

func stateNow() state {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return state{m.HeapAlloc, runtime.NumGoroutine()}
}

// ask asks the i-th thing, and gives the status of the answer, read to its end; 0:
// there was none.
func ask(client *http.Client, base string, a schedule.Assessment, i int) int {
	clock := "/clock/" + a.Clock.Slug
	bearing := clock
	if len(a.Outlooks) > 0 {
		bearing += "/bearing/" + a.Outlooks[i%len(a.Outlooks)].Bearing.Code
	}
	var res *http.Response
	var err error
	switch paths := []string{"/", clock, bearing, "/due", clock + "/log", "/?q=hall", "/api/due", clock + "/card", "/outlook"}; {
	case i%750 == 0: // each quarter of a minute
		res, err = client.Get(base + "/metrics")
	case i%10 == 0:
		body := fmt.Sprintf(`{"kind":"noted","at":%q,"note":"round %d"}`, time.Now().UTC().Format(time.RFC3339), i)
		req, _ := http.NewRequest(http.MethodPost, base+"/api/clocks/"+a.Clock.Slug+"/log", bytes.NewReader([]byte(body)))
		req.Header.Set("Content-Type", "application/json")
		req.Header.Set("Idempotency-Key", fmt.Sprint("load-", time.Now().UnixNano()))
		res, err = client.Do(req)
	default:
		res, err = client.Get(base + paths[i%len(paths)])
	}
	if err != nil {
		return 0
	}
	defer res.Body.Close()
	if _, err = io.Copy(io.Discard, res.Body); err != nil {
		return 0
	}
	return res.StatusCode
}
