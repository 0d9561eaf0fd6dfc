package reckon

// physics are figures of textbooks and standards, and of arithmetic done once
// with SciPy 1.10.1 apart from this code.
var physics = []check{
	// wear
	{what: "rod of 8 ft by 1/2 in, kg", sheet: "wear", args: rod, key: "mass", want: 2.424778, share: 1e-6, source: worked},
	{what: "its load, N", sheet: "wear", args: rod, key: "load", want: 23.778946, share: 1e-6, source: worked},
	{what: "thrust face, k 1.7e-5, mm", sheet: "wear", args: face + "--k 1.7e-5", key: "depth", want: .06442884, share: 1e-6, source: worked},
	{what: "k 2e-4", sheet: "wear", args: face + "--k 2e-4", key: "depth", want: .75798634, share: 1e-6, source: worked},
	{what: "k 8e-7", sheet: "wear", args: face + "--k 8e-7", key: "depth", want: .00303195, share: 2e-6, source: worked},
	{what: "K 1e-6, 1200 MPa", sheet: "wear", args: "--archard 1e-6 --hardness 1200", key: "k", want: 8.33333e-7, share: 1e-5, source: "Archard's law, V = K F s / H"},
	{what: "of the law with 3", sheet: "wear", args: "--archard 1e-6 --hardness 1200", key: "k-third", want: 2.77778e-7, share: 1e-5, source: "Archard's law, V = K F s / (3 H)"},
	{what: "K 7e-3, 1176 MPa, 100 N, 1 m: mm³", sheet: "wear", args: mild, key: "volume", want: .595238, share: 1e-5, source: "Archard's law, V = K F s / H"},
	{what: "of the law with 3", sheet: "wear", args: mild, key: "volume-third", want: .198413, share: 1e-5, source: "Archard's law, V = K F s / (3 H)"},
	{what: "both faces", sheet: "wear", args: "--k 1.5e-5 --other-k 5e-6 --load 60 N --revs 50000 --outer 24 mm --inner 12 mm", key: "end-shake", want: .01, share: 1e-9, source: worked},
	{what: "bush that fits, k 2e-5", sheet: "wear", args: hole + "--k 2e-5", key: "bush", want: .13769601, share: 1e-6, source: worked},
	{what: "loose bush", sheet: "wear", args: hole + "--k 2e-5", key: "bush-exact", want: .15957133, share: 1e-6, source: "root of the lens area with SciPy 1.10.1"},
	{what: "its volume, mm³", sheet: "wear", args: hole + "--k 2e-5", key: "volume", want: 16.523521, share: 1e-6, source: worked},
	{what: "bush that fits, k 1e-6", sheet: "wear", args: hole + "--k 1e-6", key: "bush", want: .00688480, share: 1e-6, source: worked},
	{what: "loose bush", sheet: "wear", args: hole + "--k 1e-6", key: "bush-exact", want: .01496171, share: 1e-6, source: "root of the lens area with SciPy 1.10.1"},
	{what: "side-shake, depth of the bush", sheet: "wear", args: shake, key: "bush", want: .01570796, share: 1e-6, source: worked},
	{what: "loss of the pivot", sheet: "wear", args: shake, key: "pivot", want: .00125, share: 1e-9, source: worked},
	{what: "side-shake", sheet: "wear", args: shake, key: "side-shake", want: .01820796, share: 1e-6, source: worked},
	{what: "sliding at 9.25 mm, 1/12 a hour, m", sheet: "wear", args: washerFace + "--revs-per-hour 1/12", key: "sliding", want: .00484329, share: 2e-6, source: worked},
	{what: "1 an hour", sheet: "wear", args: washerFace + "--revs-per-hour 1", key: "sliding", want: .05811946, share: 1e-6, source: worked},
	{what: "60 an hour", sheet: "wear", args: washerFace + "--revs-per-hour 60", key: "sliding", want: 3.48716785, share: 1e-6, source: worked},
	{what: "120 an hour", sheet: "wear", args: washerFace + "--revs-per-hour 120", key: "sliding", want: 6.97433569, share: 1e-6, source: worked},
	{what: "oil good 90, aged 8, dry 2 %", sheet: "wear", args: mixed, key: "k", want: 6.55e-6, share: 1e-9, source: worked},
	{what: "share of the wear made dry, %", sheet: "wear", args: mixed, key: "dry-share", want: 61.0687, share: 1e-6, source: worked},
	{what: "pressure of the rod, MPa", sheet: "wear", args: rod + washerFace + "--revs-per-hour 1", key: "pressure", want: .07438893, share: 1e-6, source: worked},
	{what: "pressure × speed, MPa m/s", sheet: "wear", args: rod + washerFace + "--revs-per-hour 1", key: "pv", want: 1.200957e-6, share: 1e-6, source: worked},
	{what: "the same, psi ft/min", sheet: "wear", args: rod + washerFace + "--revs-per-hour 1", key: "pv-inch", want: 1.200957e-6 / 2.626902 * 75000, share: 1e-6, source: "75,000 psi ft/min = 2.626902 MPa m/s (NIST SP 811)"},
	{what: "rod, 40 °C warmer, mm", sheet: "wear", args: rod + "--shaft steel --frame brass --warmer 40 C", key: "growth", want: 1.121664, share: 1e-9, source: worked},
	{what: "in a frame of brass", sheet: "wear", args: rod + "--shaft steel --frame brass --warmer 40 C", key: "growth-frame", want: .731520, share: 1e-9, source: worked},
	// meshes
	{what: "miter, 1 mm: depth lost", sheet: "mesh", args: miter, key: "lost", want: .70710678, tol: 1e-8, source: "gear geometry"},
	{what: "backlash", sheet: "mesh", args: miter, key: "backlash", want: .51473164, tol: 1e-8, source: "gear geometry"},
	{what: "depth left", sheet: "mesh", args: miter, key: "depth", want: .82322330, tol: 1e-8, source: "gear geometry"},
	{what: "20:40, pinion moving: cone", sheet: "mesh", args: "--teeth 20 --mate 40 --module 2 --shift 1 mm", key: "cone", want: 26.565051, tol: 1e-6, source: "gear geometry"},
	{what: "depth lost", sheet: "mesh", args: "--teeth 20 --mate 40 --module 2 --shift 1 mm", key: "lost", want: .44721360, tol: 1e-8, source: "gear geometry"},
	{what: "backlash", sheet: "mesh", args: "--teeth 20 --mate 40 --module 2 --shift 1 mm", key: "backlash", want: .32554487, tol: 1e-8, source: "gear geometry"},
	{what: "wheel moving: depth lost", sheet: "mesh", args: "--teeth 40 --mate 20 --module 2 --shift 1 mm", key: "lost", want: .89442719, tol: 1e-8, source: "gear geometry"},
	{what: "backlash", sheet: "mesh", args: "--teeth 40 --mate 20 --module 2 --shift 1 mm", key: "backlash", want: .65108975, tol: 1e-8, source: "gear geometry"},
	{what: "depth left", sheet: "mesh", args: "--teeth 40 --mate 20 --module 2 --shift 1 mm", key: "depth", want: .77639320, tol: 1e-8, source: "gear geometry"},
	{what: "12 to the inch, 24:24, 0.5 mm: module", sheet: "mesh", args: fine, key: "module", want: 2.116667, share: 1e-6, source: "gear geometry"},
	{what: "depth lost", sheet: "mesh", args: fine, key: "lost", want: .35355339, tol: 1e-8, source: "gear geometry"},
	{what: "backlash", sheet: "mesh", args: fine, key: "backlash", want: .18287025, tol: 1e-8, source: "gear geometry"},
	{what: "depth left", sheet: "mesh", args: fine, key: "depth", want: .91648345, tol: 1e-8, source: "gear geometry"},
	{what: "0.15 mm of backlash binds after, mm", sheet: "mesh", args: miter + " --backlash 0.15 mm", key: "binds", want: .29141399, tol: 1e-8, source: "gear geometry"},
	{what: "a quarter of the depth lost after √2 mm", sheet: "mesh", args: "--teeth 20 --mate 20 --module 2 --shift 1.41421356 mm", key: "depth", want: .75, tol: 1e-8, source: "gear geometry"},
	{what: "contact ratio 30:30, 20°", sheet: "mesh", args: spur + "--shift 0 mm", key: "contact", want: 1.65351, tol: 1e-5, source: worked},
	{what: "0.25 module apart", sheet: "mesh", args: spur + "--shift 0.25 mm", key: "contact", want: 1.41319, tol: 1e-5, source: worked},
	{what: "0.5 module apart", sheet: "mesh", args: spur + "--shift 0.5 mm", key: "contact", want: 1.18567, tol: 1e-5, source: worked},
	{what: "14.5°", sheet: "mesh", args: spur + "--pressure 14.5 deg --shift 0 mm", key: "contact", want: 1.94662, tol: 1e-5, source: worked},
	{what: "0.25 module apart", sheet: "mesh", args: spur + "--pressure 14.5 deg --shift 0.25 mm", key: "contact", want: 1.63645, tol: 1e-5, source: worked},
	{what: "0.5 module apart", sheet: "mesh", args: spur + "--pressure 14.5 deg --shift 0.5 mm", key: "contact", want: 1.35536, tol: 1e-5, source: worked},
	{what: "20:40", sheet: "mesh", args: "--kind spur --way across --module 1 --teeth 20 --mate 40", key: "contact", want: 1.63519, tol: 1e-5, source: worked},
	{what: "exact backlash, 0.25 module apart", sheet: "mesh", args: spur + "--shift 0.25 mm", key: "backlash", want: .18911, tol: 1e-5, source: worked},
	{what: "0.5 module apart", sheet: "mesh", args: spur + "--shift 0.5 mm", key: "backlash", want: .39207, tol: 1e-5, source: worked},
	{what: "addendum, 6 leaves, ratio 3", sheet: "mesh", args: cycloid + "--teeth 18 --mate 6", key: "addendum", want: 1.259, tol: .001, source: "BS 978-2:1952"},
	{what: "8 leaves, ratio 6", sheet: "mesh", args: cycloid + "--teeth 48 --mate 8", key: "addendum", want: 1.459, tol: .001, source: "BS 978-2:1952"},
	{what: "10 leaves, ratio 8", sheet: "mesh", args: cycloid + "--teeth 80 --mate 10", key: "addendum", want: 1.607, tol: .001, source: "BS 978-2:1952"},
	{what: "12 leaves, ratio 8", sheet: "mesh", args: cycloid + "--teeth 96 --mate 12", key: "addendum", want: 1.721, tol: .001, source: "BS 978-2:1952"},
	{what: "7 leaves, ratio 10", sheet: "mesh", args: cycloid + "--teeth 70 --mate 7", key: "addendum", want: 1.408, tol: .001, source: "BS 978-2:1952"},
	{what: "6 leaves, ratio 12", sheet: "mesh", args: cycloid + "--teeth 72 --mate 6", key: "addendum", want: 1.328, tol: .001, source: "BS 978-2:1952"},
	// oil
	{what: "even temperature, 51.2 kJ/mol", sheet: "oil", args: months + "--energy 51.2", key: "even", want: 11.77643, tol: 1e-3, source: worked},
	{what: "ageing beside 15 °C", sheet: "oil", args: months + "--energy 51.2", key: "ageing", want: .785228, share: 1e-4, source: worked},
	{what: "even temperature, 90.93 kJ/mol", sheet: "oil", args: months + "--energy 90.93", key: "even", want: 13.63352, tol: 1e-3, source: worked},
	{what: "ageing beside 15 °C", sheet: "oil", args: months + "--energy 90.93", key: "ageing", want: .834565, share: 1e-4, source: worked},
	{what: "life at 10 °C", sheet: "oil", args: "--at 10 C", key: "factor", want: 1.556179, share: 1e-4, source: worked},
	{what: "at 15 °C", sheet: "oil", args: "--at 15 C", key: "factor", want: 1, share: 1e-9, source: worked},
	{what: "at 20 °C", sheet: "oil", args: "--at 20 C", key: "factor", want: .652367, share: 1e-4, source: worked},
	{what: "at 0 °C, kept", sheet: "oil", args: "--at 0 C", key: "factor", want: 2, source: worked},
	{what: "at 30 °C, kept", sheet: "oil", args: "--at 30 C", key: "factor", want: .5, source: worked},
	{what: "mineral, dusty, no sink, damp, years", sheet: "oil", args: "--at 15 C --kind mineral oil --room dusty or birds --sink no --damp yes", key: "life", want: .84, share: 1e-9, source: worked},
	{what: "oil 32 and 5.4 at 80 °C, mm²/s", sheet: "oil", args: vg32 + "80 C", key: "viscosity", want: 8.5332, share: 1e-5, source: "ASTM D341, worked apart; a published calculator", printed: "8.5"},
	{what: "at 20 °C", sheet: "oil", args: vg32 + "20 C", key: "viscosity", want: 86.2779, share: 1e-5, source: "ASTM D341, worked apart"},
	{what: "at 0 °C", sheet: "oil", args: vg32 + "0 C", key: "viscosity", want: 335.9996, share: 1e-5, source: "ASTM D341, worked apart"},
	{what: "at −15 °C", sheet: "oil", args: vg32 + "-15 C", key: "viscosity", want: 1326.146, share: 1e-5, source: "ASTM D341, worked apart"},
	// pendulum
	{what: "steel of 11.5, s/day a °C", sheet: "pendulum", args: "--expansion 11.5", key: "heat", want: -.4968, share: 1e-9, source: worked},
	{what: "brass of 19", sheet: "pendulum", args: "--expansion 19", key: "heat", want: -.8208, share: 1e-9, source: worked},
	{what: "invar", sheet: "pendulum", args: "--rod invar", key: "heat", want: -.05184, share: 1e-9, source: worked},
	{what: "deal", sheet: "pendulum", args: "--rod deal", key: "heat", want: -.178848, share: 1e-9, source: "Beckett 1903, p. 53"},
	{what: "11.3 over 60 °F", sheet: "pendulum", args: "--expansion 11.3 --warmer 60 F", key: "warmer", want: -16.272, share: 1e-4, source: "an encyclopaedia on pendulums", printed: "16"},
	{what: "2°, rule of thumb", sheet: "pendulum", args: "--arc 2 deg", key: "circular-rule", want: 6.579736, share: 1e-6, source: "Beckett 1903, p. 35"},
	{what: "2°, exact", sheet: "pendulum", args: "--arc 2 deg", key: "circular", want: 6.580196, share: 1e-6, source: "complete elliptic integral with SciPy 1.10.1"},
	{what: "2.5° to 2°, rule of thumb", sheet: "pendulum", args: "--arc 2.5 deg --arc-to 2 deg", key: "arc-rule", want: 3.701102, share: 1e-6, source: "Beckett 1903, p. 35", printed: "rather less than 4"},
	{what: "2.5° to 2°, exact", sheet: "pendulum", args: "--arc 2.5 deg --arc-to 2 deg", key: "arc", want: 3.701764, share: 1e-6, source: "complete elliptic integral with SciPy 1.10.1"},
	{what: "2° and 10′ more, exact", sheet: "pendulum", args: "--arc 130 arcmin --arc-to 2 deg", key: "arc", want: 1.142489, share: 1e-6, source: "complete elliptic integral with SciPy 1.10.1"},
	{what: "a thousandth of the bob, mid-length, exact", sheet: "pendulum", args: "--bob 20 kg --added 20 g", key: "added", want: 10.796626, share: 1e-6, source: worked},
	{what: "by rule of thumb", sheet: "pendulum", args: "--bob 20 kg --added 20 g", key: "added-rule", want: 10.8, share: 1e-9, source: "Beckett 1903, p. 51"},
	{what: "on 20 kg for 1 s/day, kg", sheet: "pendulum", args: "--bob 20 kg", key: "second", want: .001851852, share: 1e-6, source: worked},
	{what: "0.3 s a inch of mercury, to the hPa", sheet: "pendulum", args: "--air -0.3 /inHg", key: "air", want: -.008858991, share: 1e-6, source: "NIST SP 811"},
	// ropes and threads
	{what: "60 g/m² of zinc, µm", sheet: "line", args: "--zinc 60", key: "zinc", want: 8.403361, share: 1e-6, source: worked},
	{what: "at 0.7 µm a year", sheet: "line", args: "--zinc 60 --air c3", key: "zinc-most", want: 12.00480, share: 1e-6, source: "ISO 9223, worked apart"},
	{what: "at 2", sheet: "line", args: "--zinc 60 --air c3", key: "zinc-least", want: 4.201681, share: 1e-6, source: "ISO 9223, worked apart"},
	{what: "at 4", sheet: "line", args: "--zinc 60 --air c4", key: "zinc-least", want: 2.100840, share: 1e-6, source: "ISO 9223, worked apart"},
	{what: "at 8", sheet: "line", args: "--zinc 60 --air c5", key: "zinc-least", want: 1.050420, share: 1e-6, source: "ISO 9223, worked apart"},
	{what: "rope of 114 outer wires, in 6 diameters", sheet: "line", args: "--outer 114", key: "crane-6d", want: 5, source: "ISO 4309, two rope makers' tables"},
	{what: "in 30", sheet: "line", args: "--outer 114", key: "crane-30d", want: 10, source: "ISO 4309, two rope makers' tables"},
	{what: "rope of 300, in 30", sheet: "line", args: "--outer 300", key: "crane-30d", want: 24, source: "ISO 4309, two rope makers' tables"},
	{what: "1/4-20, hole of 0.201 in, %", sheet: "thread", args: "--form american --major 1/4 in --tpi 20 --hole 0.201 in", key: "thread", want: 75.44, tol: .005, source: "tap drill charts"},
	{what: "M8, hole of 6.80, %", sheet: "thread", args: "--form metric --major 8 mm --pitch 1.25 mm --hole 6.80 mm", key: "thread", want: 73.90, tol: .005, source: "tap drill charts"},
	{what: "0-80, hole of 1.30 mm, %", sheet: "thread", args: "--form american --major 0.060 in --tpi 80 --hole 1.30 mm", key: "thread", want: 54, tol: .5, source: "a handbook's table of tapping drills"},
	{what: "1/4-20, 75 %, mm", sheet: "thread", args: "--form american --major 1/4 in --tpi 20", key: "hole", want: .201286 * 25.4, share: 3e-6, source: worked},
	{what: "by the minor diameter", sheet: "thread", args: "--form unified --major 1/4 in --tpi 20", key: "hole", want: .209405 * 25.4, share: 3e-6, source: worked},
	{what: "M6, 70 %, mm", sheet: "thread", args: "--form metric --major 6 mm --pitch 1 mm --percent 70", key: "hole", want: 5.090672, share: 1e-6, source: worked},
	{what: "by the minor diameter", sheet: "thread", args: "--form metric --major 6 mm --pitch 1 mm --percent 70", key: "hole-minor", want: 5.242229, share: 1e-6, source: worked},
	{what: "1/4 in Whitworth, 70 %, mm", sheet: "thread", args: "--form whitworth --major 1/4 in --tpi 20 --percent 70", key: "hole", want: .205177 * 25.4, share: 3e-6, source: worked},
	{what: "2 BA, 75 %, mm", sheet: "thread", args: "--form ba --major 4.7 mm --pitch 0.81 mm", key: "hole", want: 3.971, share: 1e-6, source: worked},
}

const (
	rod        = "--rod 8 ft --thick 1/2 in "
	washerFace = "--outer 24 mm --inner 13 mm "
	face       = washerFace + "--load 23.778946 N --revs 876600 "
	mild       = "--archard 7e-3 --hardness 1176 --load 100 N --distance 1"
	hole       = "--load 30 N --revs 876600 --long 12 mm --pivot 10 mm --hole 10.1 mm "
	shake      = "--k 2e-5 --other-k 5e-6 --load 30 N --revs 1e5 --long 12 mm"
	mixed      = "--pair steel on brass --good 90 % --aged 8 % --dry 2 %"
	fine       = "--dp 12 --teeth 24 --mate 24 --pressure 14.5 deg --shift 0.5 mm"
	spur       = "--kind spur --way across --module 1 --teeth 30 --mate 30 "
	cycloid    = "--kind spur --module 1 --form cycloidal "
	months     = "--months -4,-3,2,8,14,19,22,21,17,10,4,-2 "
	vg32       = "--v40 32 --v100 5.4 --cold "
)
