package wear

// Life is what is known of how long something lasts: its log life is normal
// about a middle that is itself only known to be about Mu.
type Life struct {
	Mu, S0 float64 // of the middle of ln years: what is believed of it, and its deviation
	Sigma  float64 // deviation of one life about the middle, in ln years
	// Seen is what was found so far.
	Seen []Sighting
}

// Sighting is what was found of one life: it ended after From and by To, in
// years. To of +Inf: it had not ended by From. From of 0: it had ended by To.
// Alike: it ended then.
type Sighting struct{ From, To float64 }
