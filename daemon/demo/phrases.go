package demo

// pick takes one of several ways to say it.
func pick(s *sim, words []string) string { return words[s.r.IntN(len(words))] }

// What people write in the log.
var (
	snowWords = []string{
		"Wet snow on the minute hand", "Hands frozen to the snow on the dial", "Ice on the hands after the wind turned",
	}
	birdWords = []string{
		"Pigeons sitting on the minute hand", "Nest straw in the motion work", "A jackdaw's nest against the hand",
	}
	faultWords = []string{
		"Suspension spring slipped in its chops", "A loose taper pin let the hands stand", "Stopped by itself; nothing found, started well",
	}
	downWords = []string{
		"Run down: nobody could get the key", "Run down: the winder was away and the deputy not told", "Run down: forgotten over the holiday",
	}
	lookWords = []string{
		"Monthly look: going", "Monthly look: all dials agree", "Monthly look: sounds even", "Monthly look: swept out and locked up",
	}
	keeperWords = []string{
		"Line felt with a gloved hand: no broken wires", "Swept the floor and shut the louvre", "Lamp on the stairs wants a new bulb",
		"Visitors up, nothing touched", "A little black paste at one bush, wiped", "Beat sounds even", "Hammer check spring reset",
		"Weight comes down straight, catch box sound", "Dead flies in the case, taken out", "Arc looks as wide as ever",
	}
	oilWords = []string{
		"Old oil wiped off first", "A drop to each pivot; nothing on the setting clutch", "Wiped and oiled, rags taken away",
	}
	towerWords = []string{
		"Yearly visit: frame, trains, lines, hands", "Yearly visit: trains, bevels and joints, lamps", "Yearly visit: trains, weights and catch box",
	}
)
