# The board beyond single harps: what there is to decide, who needs a hand, how the harps stand together.

number-first = { $count ->
    [1] One
    [2] Two
    [3] Three
    [4] Four
    [5] Five
    [6] Six
    [7] Seven
    [8] Eight
    [9] Nine
    [10] Ten
    [11] Eleven
    [12] Twelve
   *[other] { $count }
}

board-need-until = { $count ->
    [one] One harp needs until { $time }
   *[other] { $number } harps need until { $time }
}
board-names-need-until = { $count ->
    [one] { $names } needs until { $time }
   *[other] { $names } need until { $time }
}
board-tuning-until = { $count ->
    [one] One harp is still tuning, until about { $time }
   *[other] { $number } harps are still tuning, until about { $time }
}
board-in-time = All will be ready in time
board-in-time-tight = { $count ->
    [one] All may just be ready in time: one harp is close
   *[other] All may just be ready in time: { $count } harps are close
}
board-unheard-besides = { $count ->
    [one] one cannot be heard
   *[other] { $count } cannot be heard
}
board-spare = { $time } to spare
board-by-seat = Seat { $seat }: { $says }.
board-two-names = { $first } and { $second }
board-more-names = { $first }, { $second } and { $count } more
board-started = It has started: what is shown stands still until the next round

when-late = +{ $minutes } min
when-tight = tight { $time }
when-just-begun = just begun
when-not-begun = not begun
when-ready-about = ready about { $time }
when-late-says = ready about { $time }, { $minutes } min after the start

hand-help = wants a hand
hand-help-why = Help was pressed at the desk.
hand-will-not-hold = { $strings } will not hold
hand-will-not-hold-why = Set again and again, and it falls each time; now { $cents } cents. Is the pin loose?
hand-pedal = the { $letter } pedal may not be in flat
hand-pedal-why = Its strings stand about a semitone too high: look at the pedal before any pin is turned.
hand-silent = no word for { $time }
hand-silent-why = Look whether the laptop sleeps or has left the Wi-Fi.
hand-away = has no link
hand-away-why = Look whether the laptop is open and on the Wi-Fi.
hand-quiet = no string heard for { $time }
hand-quiet-why = The laptop is linked: is the pickup on?
hand-overhears = seems to hear the harp of seat { $seat }
hand-overhears-why = What it hears of that harp does not count: is the pickup on her own?
hand-copied = two laptops show its tag
hand-copied-why = One of them has to be made new at its desk.

register-wires = wires
register-low = low
register-middle = middle
register-high = high
register-top = top

spread-widest = The { $register } strings lie furthest apart: { $cents } cents.
spread-unison = { $string } of seat { $seat } stands { $cents } cents from the others: { $beats } beats a second.
spread-octave = { $string } of seat { $seat } stands { $cents } cents from the others' octave: { $beats } beats a second.
spread-who = { $low } lowest, { $high } highest.
spread-close = { $cents ->
    [one] Every register lies within one cent over the harps.
   *[other] Every register lies within { $cents } cents over the harps.
}
spread-too-few = Not enough is in tune yet to compare the harps.

remains-now = If it began now: { $parts }.
remains-off = { $count ->
    [one] one string further off than { $cents } cents ({ $registers })
   *[other] { $count } strings further off than { $cents } cents ({ $registers })
}
remains-not-heard = { $count ->
    [one] one not heard yet
   *[other] { $count } not heard yet
}
remains-none = If it began now, no string would be further off than { $cents } cents.
remains-soon = In { $minutes } minutes: { $ready } of { $harps } ready, { $parts }.
remains-soon-none = In { $minutes } minutes: { $ready } of { $harps } ready, no string further off than { $cents } cents.
remains-untold = { $count ->
    [one] One harp counts as it is now: nothing can be foretold of it.
   *[other] { $count } harps count as they are now: nothing can be foretold of them.
}
remains-title = Strings further off than { $cents } cents
remains-row-now = if it began now
remains-row-soon = in { $minutes } minutes
remains-column-not-heard = not heard
remains-column-ready = ready

called-says = Everyone plays { $string }
called-apart = { $string }: { $count } harps, { $cents } cents apart

summary-title = { $ensemble }: what the session came to
summary-seat = Seat
summary-player = Player
summary-harp = Harp
summary-state = It is
summary-holds = Hold
summary-others = All other strings
