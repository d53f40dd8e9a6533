# What the desk says of the string in hand. Short: it is read from two metres, with a key in the hand.

guide-pluck = Pluck
guide-again = Again
guide-tighten = Tighten
guide-loosen = Loosen
guide-let-ring = Let it ring
guide-pluck-once-more = Once more
guide-holds = Holds
guide-which-pin = Which pin?
guide-which-harp = Which harp?
guide-which-tuning = Which tuning?
guide-which-pitch = Which pitch?
guide-not-higher = Not higher
guide-next-one = Next one
guide-play-on = Play on
guide-stands-flat = Flat
guide-stands-true = In tune
guide-stands-sharp = Sharp
guide-plays = Playing
guide-pedal-up = Pedal up?
guide-lever-down = Lever down?
guide-leave-it = Leave it
guide-harp-done = All set

# How far the key should turn.
guide-far-touch = a touch
guide-far-little = a little
guide-far-good = a good turn
guide-far-steps = in steps

# Where the handle of the key goes; the key works at the back of the neck.
guide-way-away = away from you
guide-way-towards = towards you

# Why.
why-not-heard = Not heard in this round yet.
why-flat = { $cents } cents flat.
why-sharp = { $cents } cents sharp.
why-sharp-below = { $cents } cents sharp. Go just below, then bring it up.
why-within = { $cents } cents from the mark, close enough. Pluck once more when it has rung.
why-young = It is still finding its pitch. Let it ring before you turn.
why-confirm = In tune once. One more pluck shows whether it holds.
why-holds = Holds within { $cents ->
    [1] 1 cent
   *[other] { $cents } cents
}. Go on.
why-moved = Held before and has moved.
why-will-not-hold = Set { $times } times and fell away each time. Leave it and go on; have the pin and the string looked at.
why-new = New strings come last and may stay a touch sharp.
why-new-up = It may stay a touch sharp. Tune it again today, on { $again } and daily; it should hold by { $holds }.
why-new-ahead = A new string goes up in steps: now to { $semitones ->
    [0] its pitch
    [1] a semitone below its pitch
   *[other] a whole tone below its pitch
}, and no higher. Keep your face out of the string's plane.
why-new-reached = It is { $semitones ->
    [1] a semitone
   *[other] a whole tone
} below its pitch: far enough for now. Let it settle for some minutes, and go on.
why-not-higher = Its pitch here lies { $cents } cents above what this string is used to, more than a semitone: it may break. Look at the harp and the agreed pitch, and ask a technician.
why-quick = The harp is off as a whole. Bring each string to within 5 cents and go straight on; then comes the fine pass.
why-quick-near = Near enough for the quick pass. Go straight on.
why-chosen = Chosen by hand: only this string is followed, from an octave below. F lets it go.
why-urgent = The start is near: what is heard most comes first.
why-play-on = { $place } of { $of }: play the strings one after another, each a moment. What has moved comes afterwards.
why-plays = Nothing is taken down while you play.
why-far-below = The whole harp stands about { $cents } cents flat. Bring it up in two or three rounds and let it rest in between; a semitone or more is a technician's business.
why-far-sharp = Far above its pitch. Look at the pin, then loosen the string in steps.
why-missing = Marked as missing.
why-unsure = The string could not be told for sure. Pluck it alone and let it ring.
why-turned = It has moved while it sounded. Pluck it again to hear where it is now.
why-waits = Not taken down yet, lest it be something played. If you mean this string, let it ring alone or pluck it again.
why-too-soft = Softer than your harp so far: another harp's, perhaps. If it was yours, pluck it louder, or say that it was yours and pluck it again.
why-strong = Much stronger than your other plucks, which stretches a string. Pluck it as you will play it; as strongly again, it counts.
why-any-string = Any string: you see how far it is from its pitch as it stands. Pins are turned with pedals in flat or levers down.
why-raised = { $name } as its pedal stands. Its pin is turned only with the { $letter } pedal in flat: move it, then say so.
why-raised-lever = { $name } as its lever stands. Its pin is turned only with the lever down: move it, then say so.
why-same-pitch = { $name } and a string beside it sound the same now, so that neither pin is turned. Move the pedal of the other one, then say so.
why-opening = { $place } of { $of }: pedals, levers and pitch are heard before any pin is turned.
why-opening-rings = Let it ring, then the next one.
why-opening-again = { $place } of { $of }: that was { $before } once more, by its pitch. Now { $name }, alone; if it was { $name }, once more.
why-all-pedals = Every letter sounds about a semitone high. Are all pedals up, in flat?
why-open-tuning-high = { $letters } { $count ->
    [1] sounds
   *[other] sound
} a semitone high. If the harp is meant to be tuned so, start with a harp file that says so; if not, go on.
why-open-tuning-low = { $letters } { $count ->
    [1] sounds
   *[other] sound
} a semitone low. If the harp is meant to be tuned so, start with a harp file that says so; if not, go on.
why-elsewhere = { $name } sounded where no pedal or lever puts it. Pluck it alone once more.
why-another-harp = These strings do not fit the harp that is set here. Is it this harp, and were its strings plucked from middle C down?
why-standstill = Plucked again and it has not moved. If you turned the key, it is on another pin: turn that one back first.
why-too-far-flat = More than a semitone flat. Look whether the key is on this string's pin before you turn; if it is, raise the string in steps.
why-too-far-sharp = More than a semitone sharp. Look whether the key is on this string's pin before you turn; if it is, loosen the string.
why-pedal = { $name } sounds about a semitone high or more. Is the { $letter } pedal all the way up? If it is, look at the pin, then loosen the string.
why-lever = { $name } sounds about a semitone high or more. Is its lever down? If it is, look at the pin, then loosen the string.
why-far-flat = Far below its pitch. Check the pin, raise it in steps, and keep your face out of the string's plane.
why-all-set = Every string holds or is set aside. L begins the last check: every string once more.
guide-rest = Play
why-playing = The start has passed: nothing is judged until the leader calls a round.
why-all-within-but = Every string holds but { $strings }.

# Where the pin is.
place-middle-c = middle C
place-from-top = { $count ->
    [1] the top string
    [2] 2nd from the top
    [3] 3rd from the top
   *[other] { $count }th from the top
}
place-from-bottom = { $count ->
    [1] the bottom string
    [2] 2nd from the bottom
    [3] 3rd from the bottom
   *[other] { $count }th from the bottom
}
place-pins-above = { $count ->
    [one] the pin above { $landmark }
   *[other] { $count } pins above { $landmark }
}
place-pins-below = { $count ->
    [one] the pin below { $landmark }
   *[other] { $count } pins below { $landmark }
}
place-red = the red { $name }
place-dark = the dark { $name }
place-above-letter = { $count ->
    [one] one above { $name }
    [2] two above { $name }
    [3] three above { $name }
   *[other] { $count } above { $name }
}
