package round

import (
	"math/rand/v2"
	"slices"
)

// mostSubsets is up to how many places the shortest tour is found by going
// through all subsets of them.
const mostSubsets = 11

// neighbours are how many of the nearest places a change of a tour looks at.
const neighbours = 10

// tour is a closed tour over all places of the ways, with so many kicks: each
// changes a part, mends it, and stays if the tour is no longer for it. The same
// seed gives the same tour. Few places have the shortest there is.
func tour(w ways, kicks int, seed uint64) []int {
	if w.n <= mostSubsets {
		return shortest(w)
	}
	t := newTourer(w)
	for p := range w.n {
		t.ask(p)
	}
	t.mend()
	best, length := slices.Clone(t.order), t.length()
	r := rand.New(rand.NewPCG(seed, uint64(w.n)))
	for range kicks {
		t.kick(r)
		t.mend()
		if l := t.length(); l <= length {
			length = l
			copy(best, t.order)
		} else {
			t.set(best)
		}
	}
	return best
}

// shortest goes through all subsets (M. Held, R. M. Karp, A dynamic programming
// approach to sequencing problems, 1962).
func shortest(w ways) []int {
	if w.n == 0 {
		return nil
	}
	n := w.n - 1 // the last place is where it begins and ends
	best, from := make([]int, n<<n), make([]int8, n<<n)
	for set := 1; set < 1<<n; set++ {
		for last := range n {
			rest, at := set&^(1<<last), set*n+last
			if best[at] = never * 64; set&(1<<last) == 0 {
				continue
			}
			if rest == 0 {
				best[at] = w.leg(n, last)
			}
			for p := range n {
				if l := best[rest*n+p] + w.leg(p, last); rest&(1<<p) != 0 && l < best[at] {
					best[at], from[at] = l, int8(p)
				}
			}
		}
	}
	order, set := []int{n}, 1<<n-1
	for set != 0 {
		last := -1
		if len(order) == 1 {
			for p := range n {
				if last < 0 || best[set*n+p]+w.leg(p, n) < best[set*n+last]+w.leg(last, n) {
					last = p
				}
			}
		} else {
			before := order[len(order)-1]
			last = int(from[(set|1<<before)*n+before])
		}
		order = append(order, last)
		set &^= 1 << last
	}
	slices.Reverse(order)
	return order
}

// tourer is a tour in the making.
type tourer struct {
	ways
	even       bool // every way is as long as the way back
	near       [][]int
	order, pos []int
	queue      []int // places about which something changed
	queued     []bool
}

func newTourer(w ways) *tourer {
	t := &tourer{ways: w, even: true, pos: make([]int, w.n), queued: make([]bool, w.n)}
	for a := range w.n {
		var near []int
		for b := range w.n {
			t.even = t.even && w.leg(a, b) == w.leg(b, a)
			if a != b {
				near = append(near, b)
			}
		}
		slices.SortStableFunc(near, func(x, y int) int { return w.leg(a, x) - w.leg(a, y) })
		t.near = append(t.near, near[:min(neighbours, len(near))])
	}
	t.order = nearest(w)
	t.set(t.order)
	return t
}

// nearest goes from place to the nearest place that is left.
func nearest(w ways) []int {
	order, used := []int{0}, make([]bool, w.n)
	used[0] = true
	for len(order) < w.n {
		best, at := -1, order[len(order)-1]
		for p := range w.n {
			if !used[p] && (best < 0 || w.leg(at, p) < w.leg(at, best)) {
				best = p
			}
		}
		used[best] = true
		order = append(order, best)
	}
	return order
}

func (t *tourer) set(order []int) {
	copy(t.order, order)
	for i, p := range t.order {
		t.pos[p] = i
	}
}

func (t *tourer) length() (sum int) {
	at := t.order[t.n-1]
	for _, p := range t.order {
		sum += t.leg(at, p)
		at = p
	}
	return sum
}

// wrap is a position on the tour, which is closed.
func (t *tourer) wrap(i int) int {
	if i >= t.n {
		return i - t.n
	}
	if i < 0 {
		return i + t.n
	}
	return i
}

func (t *tourer) next(p int) int { return t.order[t.wrap(t.pos[p]+1)] }
func (t *tourer) prev(p int) int { return t.order[t.wrap(t.pos[p]-1)] }

// ask notes that something changed about places.
func (t *tourer) ask(places ...int) {
	for _, p := range places {
		if !t.queued[p] {
			t.queued[p] = true
			t.queue = append(t.queue, p)
		}
	}
}

// mend makes changes that shorten the tour until there is none about the places
// at which something changed.
func (t *tourer) mend() {
	for i := 0; i < len(t.queue); i++ {
		p := t.queue[i]
		t.queued[p] = false
		for t.even && t.twoOpt(p) || t.orOpt(p) {
		}
	}
	t.queue = t.queue[:0]
}

// flip turns n places from a position on around.
func (t *tourer) flip(from, n int) {
	i, j := from, t.wrap(t.wrap(from+n)-1)
	for range n / 2 {
		a, b := t.order[i], t.order[j]
		t.order[i], t.order[j] = b, a
		t.pos[b], t.pos[a] = i, j
		i, j = t.wrap(i+1), t.wrap(j-1)
	}
}

// swap swaps two parts that follow one another.
func (t *tourer) swap(from, first, second int) {
	t.flip(from, first)
	t.flip(t.wrap(from+first), second)
	t.flip(from, first+second)
}

// turnAbout turns the tour around between two places, or all but that, which is
// the same tour.
func (t *tourer) turnAbout(a, b int) {
	from, n := t.pos[a], t.wrap(t.pos[b]-t.pos[a])+1
	if 2*n > t.n {
		from, n = t.wrap(t.pos[b]+1), t.n-n
	}
	t.flip(from, n)
}

// twoOpt joins a place to one that is nearer than its neighbour on the tour, if
// that shortens it.
func (t *tourer) twoOpt(a int) bool {
	b, c := t.next(a), t.prev(a)
	for _, p := range t.near[a] {
		if t.leg(a, p) >= t.leg(a, b) {
			break
		}
		q := t.next(p)
		if t.leg(a, p)+t.leg(b, q) < t.leg(a, b)+t.leg(p, q) {
			t.turnAbout(b, p)
			t.ask(a, b, p, q)
			return true
		}
	}
	for _, p := range t.near[a] {
		if t.leg(a, p) >= t.leg(c, a) {
			break
		}
		q := t.prev(p)
		if t.leg(a, p)+t.leg(c, q) < t.leg(c, a)+t.leg(q, p) {
			t.turnAbout(a, q)
			t.ask(a, c, p, q)
			return true
		}
	}
	return false
}

// orOpt moves a part of up to three places that begins or ends at a place, as it
// is or turned around, if that shortens the tour.
func (t *tourer) orOpt(a int) bool {
	for n := 1; n <= 3; n++ {
		at := t.pos[a]
		if t.move(at, n, a) || n > 1 && t.move(t.wrap(at-n+1), n, a) {
			return true
		}
	}
	return false
}

// move moves n places from a position on, so that the place x, at which they
// begin or end, comes to be beside one that is near it.
func (t *tourer) move(from, n, x int) bool {
	s, e := t.order[from], t.order[t.wrap(from+n-1)]
	a, b := t.prev(s), t.next(e)
	gain := t.leg(a, s) + t.leg(e, b) - t.leg(a, b)
	inside := func(p int) bool { return t.wrap(t.pos[p]-from) < n }
	for _, c := range t.near[x] {
		if t.even && t.leg(x, c) >= gain {
			break
		}
		for _, f := range [2]int{t.prev(c), c} {
			g := t.next(f)
			if inside(f) || inside(g) {
				continue
			}
			gap := t.leg(f, g)
			if t.leg(f, s)+t.leg(e, g)-gap < gain {
				t.carry(from, n, f, false)
				t.ask(a, b, s, e, f, g)
				return true
			}
			if t.even && t.leg(f, e)+t.leg(s, g)-gap < gain {
				t.carry(from, n, f, true)
				t.ask(a, b, s, e, f, g)
				return true
			}
		}
	}
	return false
}

// carry puts n places from a position on behind the place f.
func (t *tourer) carry(from, n, f int, turned bool) {
	if turned {
		t.flip(from, n)
	}
	if ahead := t.wrap(t.pos[f] - t.wrap(from+n-1)); 2*ahead <= t.n {
		t.swap(from, n, ahead)
	} else {
		behind := t.n - n - ahead
		t.swap(t.wrap(from-behind), behind, n)
	}
}

// kick swaps two short parts of the tour that follow one another (the double
// bridge; O. Martin, S. W. Otto, E. W. Felten, 1991).
func (t *tourer) kick(r *rand.Rand) {
	most := min(30, (t.n-2)/2)
	from, first, second := r.IntN(t.n), 1+r.IntN(most), 1+r.IntN(most)
	for _, i := range [3]int{from, from + first, from + first + second} {
		t.ask(t.order[i%t.n], t.order[(i+t.n-1)%t.n])
	}
	t.swap(from, first, second)
}
