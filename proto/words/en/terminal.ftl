# What the desk says in a terminal beside what its page says.

terminal-fresh = Nobody has said yet which harp this is: S sets it up.
terminal-set-up-page = Single strings, materials and the input with its trace are set up on the page:
terminal-set-up-caution = Set the strings as they are on your harp: advice to raise a string beyond what it is made for could break it. Ask a technician when in doubt.
terminal-ear-caution = While this is open nothing is kept as a reading. Pluck as you play, not harder.
terminal-tone-caution = The tone is meant for earphones: turn the volume down before you put them on. Through a loudspeaker the pickup hears it, too. R sounds it.
terminal-tone-sounds = { $string } sounds in the earphones, for half a minute at most. R silences it.

terminal-flat = { $cents } cents flat
terminal-sharp = { $cents } cents sharp
terminal-next = next { $string } · { $says }
terminal-looked = Space: I have looked
terminal-hers = Space: it was mine
terminal-seen = Space: I have seen it

# Keys and what each one does, in at most 80 columns.
terminal-keys-string = ← → choose a string  { $chosen ->
    [yes] F let go
   *[no] F follow
}  N new  M missing  0 no mark{ $moves ->
    [pedals] {"  "}P pedals
    [levers] {"  "}P levers
   *[nothing] {""}
}  R tone
terminal-keys-others = L last check  E by ear  W wrong  H help  U undo  S set up{ $may ->
    [join] {"  "}J join
   *[nothing] {""}
}  Q end
terminal-keys-feet = { $stand }   a letter moves its own   P that is how they stand
terminal-join = Code, address or join link: { $typed }
terminal-keys-join = Enter join   Esc not now
terminal-keys-ear = ↑ ↓ or a digit: the check   ← → the string, now { $string }   E back   W wrong   Q end
terminal-keys-harp = ↑ ↓ ← → another size   a letter: its open strings   Enter play it   S back
terminal-keys-ways = O another order   N the other names   U take the last choice back   Q end

terminal-heard = as heard
terminal-heard-beats = as heard, { $beats } in a second
terminal-in-tune = in tune, { $beats } in a second

terminal-set-up-harp = { $count } strings, open { $open }
terminal-set-up-ways = asked for { $order ->
    [up] from the longest string up
    [down] from the shortest string down
    [octaves] letter by letter, in octaves
   *[usual] middle C and down, then up
} · called { $naming ->
    [scientific] C4, as in acoustics
   *[harp] 4C, the harpist's way
}
