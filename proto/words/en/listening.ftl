# Checks by listening: what to pluck, what to listen for, what was found, and what it means.

listen-name-octave = octave
listen-name-fifth = fifth
listen-name-fourth = fourth
listen-name-harmonic = harmonic
listen-name-enharmonic = two names
listen-name-scale = scale

listen-for-octave = A clean octave stands still. Listen to the higher note: if it swells and fades, count how often.
listen-for-fifth = A tempered fifth beats slowly, a little narrow. Listen an octave above the higher string.
listen-for-fourth = A tempered fourth beats slowly, a little wide. Listen two octaves above the lower string.
listen-for-harmonic = The harmonic and the string an octave above are one pitch. Listen whether the second is higher or lower.
listen-for-enharmonic = Two names, one pitch. Listen whether the second is higher or lower: it is the disc that you hear.
listen-for-scale = Whole steps are nearly alike, and so are half steps. Listen for the one that is too wide or too narrow.

listen-together = Pluck { $lower } and { $higher } together, equally loud, and let them ring for two seconds.
listen-pluck = Pluck { $string }.
listen-harmonic = Pluck { $string } as a harmonic, the hand on its middle.
listen-raised-pedal = Put the { $letter } pedal in { $position ->
    [1] natural
   *[other] sharp
 } and pluck { $string }. Then put it back.
listen-raised-lever = Put the lever of { $string } up and pluck it. Then put it down.

listen-beats = { $found } beats a second, { $expected } when all is in tune.
listen-no-beats = It stands still, and { $expected } beats a second are expected when all is in tune.
listen-off = { $string } lies { $cents } cents { $side ->
    [sharp] above
   *[flat] below
 } the other.
listen-even = Both are one pitch, to { $cents } cents.

listen-right = As it should be.
listen-tune = One of them is out of tune: tune { $string }, then listen again.
listen-false = Each was in tune by itself. If both still are, { $string } may be false: look what the record says of it before you change it.
listen-step = Both are in tune as open strings, so it is the disc or lever of { $string }: look whether the string is worn there, then leave it to a technician.
listen-stands-out = { $string } stands out by { $cents } cents { $side ->
    [sharp] to the sharp side
   *[flat] to the flat side
 }.

listen-only = Only { $string } sounds, or the other much softer. Pluck both together, equally loud.
listen-other = That is something else than what is asked for. Pluck it once more.
listen-semitones = That lies whole semitones off: look where the pedal or lever of { $string } stands.
listen-short = Let them ring longer: two seconds.
listen-low = These strings are too low for their beats to be told apart. Take a higher pair.
