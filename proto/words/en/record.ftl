# What a harp's record says: each finding's headline, evidence, action, and what would change it.

found-slipping-pin = { $string }: the pin slips
found-slipping-pin-evidence = { $count ->
    [one] Found { $most } cents flat of where it was left
   *[other] Found { $least } to { $most } cents flat of where it was left, { $count } times
}, whatever the weather. The others of its material moved by { $others } at most.
found-slipping-pin-tapered = Push the key in while turning: back off a little, then bring it up and push. If it comes back, ask a technician. Never hammer a pin.
found-slipping-pin-again = It was pushed in on { $date } and slips again: ask a technician. Never hammer a pin.
found-slipping-pin-threaded = These pins are threaded and must not be pushed. Ask a technician.
found-slipping-pin-doubt = If it falls less each time, it is a new string that stretches. If the strings beside it fall as well, it is the room.

found-false-string = { $string }: a false string
found-false-string-evidence = Its partial { $partial } lies { $off } cents off an even string’s curve, and its octave harmonic { $octave } cents.
found-false-string-octave = Its octave harmonic lies { $octave } cents off an even string’s curve, and so does not match the string an octave above.
found-false-string-beats = It beats with itself, { $cents } cents wide.
found-false-string-scatters = Its readings scatter although nothing moved.
found-false-string-worn = It was even before.
found-false-string-action = Replace it, from a fresh length.
found-false-string-concert = Leave it until the concert on { $date }, then replace it from a fresh length.
found-false-string-sisters = Cut from the same length: { $strings }. Listen to them, too.
found-false-string-doubt = If an even string in its place sounds the same, it is its disc or its end on the soundboard.

found-new-string = { $string }: still stretching
found-new-string-evidence = New on { $date }. It fell { $falls } cents.
found-new-string-first = New on { $date }. How fast it falls is not known yet.
found-new-string-unnoted = It falls like a string that was put on about { $date }. Nobody has written that down.
found-new-string-action = Should hold by about { $date }, give or take { $days ->
    [one] a day
   *[other] { $days } days
}. Tune it often until then, and leave it a touch sharp.
found-new-string-doubt = If it still falls as fast a week later, look at its pin and its knot.

found-new-strings = { $material }: all new, and still stretching
found-new-strings-evidence = { $count } of them were put on on { $date }.
found-new-strings-action = They should hold by about { $date }, give or take { $days ->
    [one] a day
   *[other] { $days } days
}. Tune the whole harp several times a day at first, then daily.
found-new-strings-doubt = If one of them falls on when the others hold, look at its pin and its knot.

found-turned = { $string }: its pin was turned
found-turned-evidence = It moved { $cents } cents at once and has stayed there. Its neighbours did not move.
found-turned-action = Tune it, and look at which string answers the key before you turn.
found-turned-doubt = If it falls again, its pin slips.

found-wrong-gauge = { $string }: perhaps the wrong gauge
found-wrong-gauge-evidence = Since { $date } it is { $times } times as stiff as it should be.
found-wrong-gauge-rings = It rings { $times } times as long as the one before it.
found-wrong-gauge-step = Its first step is { $cents } cents off a semitone.
found-wrong-gauge-thick = Compare it with the maker's list: it seems too thick. Another gauge needs its discs set anew.
found-wrong-gauge-thin = Compare it with the maker's list: it seems too thin. Another gauge needs its discs set anew.
found-wrong-gauge-doubt = If the packet says the right number, the string is uneven.

found-pedal = { $letter } pedal: its regulation
found-pedal-natural = Every { $letter } natural is about { $cents } cents off, in { $count } octaves. A disc would spoil one string only.
found-pedal-sharp = Every { $letter } sharp is about { $cents } cents off, in { $count } octaves. A disc would spoil one string only.
found-pedal-action = Look at the pedal’s felt first, then have a technician look at its rod or linkage.
found-pedal-doubt = If only one octave is off, it is those strings and not the pedal.

found-step = { $string }: its steps are off
found-step-evidence = Its { $step ->
    [one] first step
   *[other] second step
} is { $cents } cents off, and its letter’s other strings are not.
found-step-action = A worn string or another gauge comes first: look where the disc or lever grips. If the string is good, have its disc or lever set.
found-step-doubt = If a new string has the same step, it is the disc or lever.

found-room = { $material }: the room
found-room-evidence = { $along } of { $strings } strings moved { $cents } cents together.
found-room-humidity = Humidity went from { $before } to { $after } %.
found-room-temperature = The room went from { $before } to { $after } °C.
found-room-action = No string is at fault. Keep the harp out of the sun and away from heating, at 40 to 60 % humidity, and let it settle before you tune.
found-room-moved = The harp was moved in between.
found-room-elsewhere = It was tuned at “{ $before }” before and at “{ $now }” now.
found-room-doubt = If single strings go on moving when the room is steady, they have reasons of their own.

moving-advice = When it is moved: warm or cool the car to the room’s temperature first, and leave the harp in no car and no unheated room overnight, where strings break while nobody plays.

found-old = { $material }: past their time
found-old-evidence = { $count ->
    [one] One string has been on for { $months } months, where { $usual } are usual
   *[other] { $count } strings have been on for { $months } months, where { $usual } are usual
}: { $strings }.
found-old-action = { $count ->
    [one] Replace it: { $when }.
   *[other] Replace them one at a time, the longest first: { $when }. The plan has the day of each.
}
found-old-doubt = If one still rings as it did when it was new, its age alone is no reason.

found-dull = { $string }: it has grown dull
found-dull-evidence = Its upper partials are { $db } dB weaker than in its first tunings, beyond what all strings have in common.
found-dull-action = Replace it: { $when }.
found-dull-doubt = If it is as bright as before when it is plucked elsewhere or the pickup is moved, it is not the string.

found-too-early = { $string }: too early to say
found-too-early-evidence = { $count ->
    [one] One tuning
   *[other] { $count } tunings
} found it where it should not be.
found-too-early-action = Tune it and hear it again: another tuning or two will tell.
found-too-early-doubt = If it holds from now on, nothing is wrong.

found-nothing = Nothing is wrong that the record can tell.
found-few-tunings = Too early to say: findings need three tunings, and there { $count ->
    [0] are none
    [one] is one
   *[other] are { $count }
} so far.

material-nylon = Nylon strings
material-gut = Gut strings
material-fluorocarbon = Fluorocarbon strings
material-wire = Wires

plan-broke = broke on { $date }
plan-false = false
plan-old = { $months } months, where { $usual } are usual
plan-dull = dull: { $db } dB less above than when it was new
plan-unknown = age not known
plan-unknown-all = { $count ->
    [one] Nobody has written down when this string was put on: { $strings }. Ask, and write it down
   *[other] Nobody has written down when these { $count } strings were put on: { $strings }. Ask, and write it down
}; a harp whose strings are all of unknown age wants a new set first.
plan-ask = ask when it was put on
plan-now = now
plan-by = by { $date }
plan-after = after the concert on { $date }
plan-nothing = Nothing is due that the record knows of.
plan-caution = One string at a time, the longest first. Bring new strings up in steps, keep your face out of their plane, and never above their pitch. What the maker or a technician says comes first.

undone-written = Taken out again: { $what }
undone-taken-out = Back again: { $what }
undone-fitting = { $string }, put on on { $date }
undone-fitting-of = { $what } ({ $details })
undone-fitting-length = cut from { $name }
undone-restrung = restrung on { $date }
undone-moved = moved on { $date }
undone-regulated = regulated on { $date }
undone-pin-pushed = the pin of { $string }, pushed in on { $date }
undone-broke = { $string }, broke on { $date }
undone-remark = the remark of { $date }
undone-noted = { $what }: “{ $note }”
undone-remark-string = the remark of { $date } about { $string }
undone-concert = { $name }, on { $date }
undone-length = the length { $name } for { $string }
undone-spoilt = that the length { $name } is bad since { $date }
undone-room = the room at { $date }
undone-room-earlier = the room at { $date } as it was noted before
undone-sheet = the harp with { $pins } pins and its player, { $player }, with { $days ->
    [0] new strings on any day
    [one] no new strings on the day
   *[other] no new strings in the { $days } days
} before a concert{ $letters ->
    [none] {""}
   *[other] , allowing for the discs or levers of { $letters }
}
undone-sheet-made = the harp made on { $date } with { $pins } pins and its player, { $player }, with { $days ->
    [0] new strings on any day
    [one] no new strings on the day
   *[other] no new strings in the { $days } days
} before a concert{ $letters ->
    [none] {""}
   *[other] , allowing for the discs or levers of { $letters }
}

did-moved = Keep it out of the sun and away from heating and draughts, at 40 to 60 % humidity, and let it settle before you tune. { moving-advice }
did-restrung = Bring every string to a whole tone below its pitch first, one at a time and the longest first, with your face out of its plane; let the harp settle for days, then bring it up in steps, and have it regulated. What the maker or a technician says comes first.
did-broke = The plan has it now, and says which length to cut the next one from. Look where it broke: where several break at one spot, ask a technician. Until it is on, mark it as missing at the desk.
did-pin-pushed = If it falls again, or the pin turns freely, ask a technician. Never hammer a pin.
did-pin-pushed-threaded = This harp’s pins are threaded, and pushing them does harm: leave them as they are and ask a technician. If they are tapered, say so with the harp itself.
strings-nothing = No string has been heard yet: the first tuning begins this list.
written-nothing = Nothing is written down yet.

record-begun = The record of “{ $name }” is begun, and the station takes it for the harp that it hears. Another one is heard again with --harp and its name.
record-waits = { $why }. What is heard waits, and is written as soon as it can be.
record-written-again = { $count ->
    [0] The record can be written again.
    [one] The record is written again, with the reading that had waited.
   *[other] The record is written again, with the { $count } readings that had waited.
}
record-lost = { $count ->
    [one] One reading is
   *[other] { $count } readings are
} not in the record: it could not be written until the end.
record-about = { $strings } strings · { $pins } pins · played by { $player ->
    [professional] a professional
    [student] a student
   *[amateur] an amateur
} · { $count ->
    [0] no tuning yet
    [one] one tuning, on { $date }
   *[other] { $count } tunings, the newest on { $date }
}
record-string = Usually found { $cents } cents { $side ->
    [flat] flat
   *[sharp] sharp
}, in { $count ->
    [one] one tuning
   *[other] { $count } tunings
}.
record-string-unheard = Not heard yet.
record-step-not-yet = not yet
record-steps = Cents off whole semitones and their uncertainty: natural above sharp, or lever on. Last checked on { $date }. A whole letter that is off one way points at its pedal; a single string at its disc or lever, or at the string itself.

allow-head = What is off, allowed for
allow-intro = A disc or lever that is off is for a technician to set. Until then the open strings of a letter can be tuned aside, so that the position which the piece plays sounds right; the other positions move along. Look at what it does, and choose letter by letter.
allow-nothing = No disc or lever was checked since the last regulation, so that nothing can be allowed for: “record check” makes the table.
allow-on = { $letter } is allowed for: its open strings are tuned so that it sounds right as { $setting } plays it.
allow-off = { $letter } is not allowed for. If it were, its open strings would be tuned so that it sounds right as { $setting } plays it.
allow-unmeasured = the position played was not checked
allow-uncertain = known to ±{ $cents } cents only: check it once more
allow-far = { $cents } cents off: for a technician
allow-open = played open, and left so
allow-position = { $position ->
    [flat] flat
    [natural] natural
    [sharp] sharp
    [off] lever off
   *[on] lever on
}
allow-moves = open string
allow-do = Allow for { $letter }
allow-undo = No longer allow for { $letter }
allow-caution = Cents off before, and with the allowance. The desk tunes by it, and board and coordinator judge by it: ready is what sounds as agreed in the position that is played.

printed-title = Record – { $harp }
printed-findings = Findings
printed-usual = How each string is usually found
printed-plan = Strings to replace
printed-string = String
printed-put-on = Put on
printed-why = Why
printed-when = When
printed-steps = Discs and levers

plot-history = { $string }: as left, and as found next time
plot-harp = Every string as it is usually found before tuning
plot-unheard = This string has not been heard yet.
plot-cents = cents
plot-left = as left
plot-found = as found next time
plot-humidity = humidity { $range } %
plot-room = room { $range } °C
plot-no-air = Nobody has written down the room’s air.
plot-new-string = new string
plot-pin-pushed = pin pushed in
plot-broke = broke
plot-day = { $day } { plot-month } { $year }
plot-year = { $year }
plot-month = { $month ->
    [1] Jan
    [2] Feb
    [3] Mar
    [4] Apr
    [5] May
    [6] Jun
    [7] Jul
    [8] Aug
    [9] Sep
    [10] Oct
    [11] Nov
   *[12] Dec
}

shelf-empty = Nothing lies on the shelf: “record shelf add 3E-2026-a 3E --yields 3” puts a length there.
shelf-length = { $name }: { $what }, { $left } of { $yields } left. Cut from it: { $cut }.
shelf-gauge = { $what }, { $gauge } mm
shelf-gave-false = { $string } of it was false
shelf-set-aside = The length { $name } gave a false string and is marked as bad: cut nothing more from it, or take that mark out.
shelf-left = { $left } of { $yields } left
shelf-bad-said = Bad since { $date }.
shelf-bad-false = Suspect, since { $string } was cut from it and is false: take a fresh length.
shelf-from = cut it from { $name }
shelf-buy = to be bought
shelf-trade = { $octave ->
    [0] octave 0
    [1] 1st octave
    [2] 2nd octave
    [3] 3rd octave
   *[other] { $octave }th octave
} { $letter }, No. { $packet }, { $material }

check-pedal = { $letter } pedal in { $position ->
    [0] flat
    [1] natural
   *[other] sharp
}: pluck and let ring { $strings }. Enter leaves out what is missing.
check-lever = { $position ->
    [0] Levers off
   *[other] Lever on, string by string
}: pluck and let ring { $strings }. Enter leaves out what is missing.
check-heard = { $string }: { $hz } Hz
check-elsewhere = That sounded like { $string }, which is not asked for now: look at pedal and string, and pluck again.
check-moved = That lies whole semitones from { $string } as it is asked for: look where its pedal or lever stands and which string you plucked, and pluck again.
check-again = That was not heard well enough. Pluck it once more, and let it ring.
check-missing = Not heard, and left out: { $strings }.
check-nothing = There is nothing to check: the harp has no discs or levers, or all of them were checked today.
check-none = No disc or lever was checked since it was last regulated: “consort-station record check” asks for every string in every position, and makes the table.

fitted-steps = Bring { $string } up in several steps and let it settle for some minutes after each; keep your face out of its plane, and never above its pitch. What the maker or a technician says comes first.
fitted-holds = { $string } was put on on { $date } and should hold by now: it is tuned with the others again.
fitted-coming = { $string }, put on on { $date }: tune it daily, next on { $again }, until it holds; that should be by { $holds }.
fitted-then = Tune { $string } several times today and tomorrow, then daily; it should hold by about { $date }. The record follows it, and says so if it does not.
