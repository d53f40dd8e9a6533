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
harp-line = { $seat }  { $name }, with the tag { $tag }: { $says }
harp-deputy = may change the agreement

presence-here = here
presence-unsure = no word for a moment
presence-silent = silent { $time }
presence-away = no link
presence-removed = turned away
presence-copied = two laptops show its tag

time-seconds = { $count } s
time-minutes = { $count } min
time-from-now = { $time } from now

board-nobody = Nobody has joined yet
board-nobody-now = Nobody is in the session now
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
board-help = wants help
board-to-confirm = was ready { $time } ago, to be confirmed
board-confirmed-ago = last confirmed { $time } ago
board-overhears = seems to hear the harp of seat { $seat } in place of its own: look at its input
board-playing = The start has passed. Nothing is judged until you call a round.
room-rose = { $material } rose by { $cents } cents on { $harps } of { $of } harps in { $time }: a round may be due.
room-fell = { $material } fell by { $cents } cents on { $harps } of { $of } harps in { $time }: a round may be due.
call-line = { $string }: { $harps }; { $cents } cents apart.
call-nobody = { $string }: { $harps }.
call-harp = seat { $seat } { $says }
cheapest-line = As the harps are, A = { $pitch } costs least: { $strings ->
    [one] one string
   *[other] { $strings } strings
} to turn, about { $time }.
board-no-link = No link to the coordinator. This is what was heard last, and may not be so any more.
board-elsewhere = This is not an address of the board, or not any more: ask the leader for the one that is shown now.
board-not-granted = The leader has not granted this laptop to change anything. Looking is all it can do.
board-disk-full = The disk takes nothing, so nothing new is kept: make room.

joining-open = Joining is open: whoever has the code or the link may join.
joining-closed = Joining is closed: only harps that joined before may come back.
joining-knocking = { $name } asks to be let in without a code. Compare the tag with the laptop's: { $tag }.
joining-knocking-yes = Let in
joining-knocking-no = No
seat-wanted = { $name }, with the tag { $tag }, wants to play the harp of seat { $seat }, { $holder }, at another laptop.
seat-wanted-yes = Let it change
seat-wanted-no = Leave it
proposal-measured = A = { $pitch }, give or take { $cents } cents. It is proposed and not agreed yet: now, next or keep.
proposal-own = This laptop
proposal-says = { $name } has measured A = { $pitch }, give or take { $cents } cents: { $off } from A = { $agreed }.
proposal-near = { $name } has measured A = { $pitch }, give or take { $cents } cents. That is { $off } from A = { $agreed } and within the tolerance: it can stay.
proposal-yes = A = { $pitch } now
proposal-next = A = { $pitch } from the next round
proposal-no = Keep A = { $agreed }
next-pitch-says = From the next round on: A = { $pitch }.
next-pitch-no = Not after all
watching-says = A laptop with the tag { $tag } looks at the board.
watching-may = A laptop with the tag { $tag } looks at the board and may change the agreement.
watching-grant = Let it change the agreement
watching-revoke = Let it only look
deputy-only-leader = Only the leader's own laptop can do that.
deputy-not-taken = The coordinator did not take this: there is no link to it, or the leader has not granted it.
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
start-tomorrow = { $time } has passed today: the start is tomorrow.

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
    [one] One ready harp goes back to tuning: { $names }.
   *[other] { $count } ready harps go back to tuning: { $names }.
}
consequence-set-again = { $count ->
    [one] One string that is set would be out of tune.
   *[other] { $count } strings that are set would be out of tune.
}
consequence-tension = { $percent } % more tension on every string than at A = { $pitch }: { $kilograms } kg more for each tonne that a harp’s strings pull. Go in steps, let the strings rest in between, and ask a technician when in doubt.
pedals-cost = A pedal moved from this setting then sounds off: { $notes } cents.
pedals-cost-nothing = A pedal may be moved from this setting without a cent of difference.
