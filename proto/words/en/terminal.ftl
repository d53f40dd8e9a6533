# What the desk says in a terminal beside what its page says.

terminal-fresh = Nobody has said yet which harp this is: S sets it up.
terminal-set-up-page = Single strings, materials and the input with its trace are set up on the page:
terminal-set-up-caution = Set the strings as they are on your harp: advice to raise a string beyond what it is made for could break it. Ask a technician when in doubt.
terminal-ear-caution = While this is open nothing is kept as a reading. Pluck as you play, not harder.
terminal-tone-caution = The tone is meant for earphones: turn the volume down before you put them on. Through a loudspeaker the pickup hears it, too. R sounds it.
terminal-tone-sounds = { $string } sounds in the earphones, for half a minute at most. R silences it.
