# What a string and a harp are, on board, control, desk and terminal.

standing-not-heard = not heard yet
standing-off-flat = { $cents } cents flat
standing-off-sharp = { $cents } cents sharp
standing-set-once = set once
standing-holds = holds
standing-moved = has moved, { $cents } cents
standing-will-not-hold = will not hold
standing-new = new
standing-missing = missing

harp-ready = ready
harp-ready-but-for = ready but for { $strings }
harp-left = { $count ->
    [one] one string left
   *[other] { $count } strings left
}
harp-left-all = nothing set yet

presence-here = here
presence-unsure = no word for a moment
presence-silent = silent { $time }
presence-away = no link
presence-removed = turned away

time-seconds = { $count } s
time-minutes = { $count } min

board-nobody = Nobody has joined yet
board-all-ready = { $count ->
    [one] The harp is ready
   *[other] All { $count } harps are ready
}
board-still-tuning = { $count ->
    [one] One harp is still tuning
   *[other] { $count } harps are still tuning
}
board-silent = { $count ->
    [one] One harp cannot be heard
   *[other] { $count } harps cannot be heard
}
board-tuning-and-silent = { $tuning ->
    [one] One harp is still tuning
   *[other] { $tuning } harps are still tuning
}, { $silent ->
    [one] one cannot be heard
   *[other] { $silent } cannot be heard
}
board-ready-of = { $ready } of { $harps } ready
board-seat = Seat { $seat }, { $name }: { $says }.
board-last-reported = last reported as “{ $says }”
board-strings = { $count ->
    [one] One string { $what }: { $strings }.
   *[other] { $count } strings { $what }: { $strings }.
}
board-strings-not-heard = not heard yet
board-strings-off = off
board-strings-set-once = set once
board-strings-hold = { $count ->
    [one] One string holds.
   *[other] { $count } strings hold.
}
board-strings-moved = moved
board-strings-will-not-hold = that will not hold
board-strings-new = that are new
board-strings-missing = missing
board-disk-full = The disk takes nothing, so nothing new is kept: make room.

joining-open = Joining is open: whoever has the code or the link may join.
joining-closed = Joining is closed: only harps that joined before may come back.
joining-newcomer = { $name } has joined, with the tag { $tag }.

code-open = Tell it to the players. It is needed once, and good for a quarter of an hour.
code-tried = { $count ->
    [one] One code did not match.
   *[other] { $count } codes did not match.
}
code-resting = Too many codes did not match. A new one comes in { $time }; the link is good meanwhile.
code-closed = No code is shown. A new one lets others join; harps that joined before need none.

agreement-line = A = { $pitch } · { $temperament } · { $setting }
round-line = round { $round }
start-in = starts in { $time }
start-passed = the start has passed

temperament-equal = equal temperament
temperament-pythagorean = Pythagorean
temperament-quarter-comma-meantone = quarter-comma meantone
temperament-fifth-comma-meantone = fifth-comma meantone
temperament-sixth-comma-meantone = sixth-comma meantone
temperament-sixth-pythagorean-meantone = meantone by a sixth of the Pythagorean comma
temperament-werckmeister-three = Werckmeister III
temperament-kirnberger-two = Kirnberger II
temperament-kirnberger-three = Kirnberger III
temperament-vallotti = Vallotti
temperament-young-two = Young II
temperament-kellner = Kellner
temperament-just-on-c = just on C
temperament-own = own temperament

consequence-none = Nothing changes for the strings.
consequence-all-flat = Every string is then { $cents } cents flat of the new pitch.
consequence-all-sharp = Every string is then { $cents } cents sharp of the new pitch.
consequence-some = Strings move by up to { $cents } cents.
consequence-ready-again = { $count ->
    [one] One ready harp goes back to tuning.
   *[other] { $count } ready harps go back to tuning.
}
consequence-raise-caution = Raising whole harps by { $cents } cents adds tension to every string and to the frame. Go in steps, strings rest in between, and ask a technician when in doubt.
