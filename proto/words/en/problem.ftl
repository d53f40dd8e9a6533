# What goes wrong, and what to do. One sentence each, after the program's name.

typed-unknown-option = there is no option “{ $word }”: --help lists those there are
typed-unknown-order = there is no order “{ $word }”: --help lists those there are
typed-value-missing = { $word } needs a value: --help says which
typed-value-refused = “{ $value }” does not go with { $word }: { $why }
typed-value-unknown = “{ $value }” does not go with { $word }: { $known } does
typed-missing = { $word } is missing: --help says more
typed-conflict = { $word } does not go with what else was typed: --help says more

problem-file-missing = { $file } cannot be opened: { $why }: look at the name and the folder
problem-file-no-audio = { $file } holds no sound that can be read: give a WAV or FLAC file
problem-file-empty = { $file } is empty: record again, with the pickup plugged in
problem-file-silent = { $file } holds only silence: look at the pickup and the input, then record again
problem-file-truncated = { $file } breaks off after { $seconds } s: what is there was heard; copy it again to hear the rest
problem-file-rate = { $file } has { $rate } samples a second: give a recording with { $min } to { $max }
problem-file-clipped = { $file } is clipped: turn the input down and record again for finer readings
problem-file-dead-side = { $file } has sound on one side only: that side was heard
problem-file-no-pluck = { $file } holds no pluck: record one string at a time, and let it ring

problem-data-damaged = { $file } was damaged and has been put aside as { $aside }: a new one was begun
problem-coordinator-unreachable = no answer from { $address }: is the coordinator running, and are both on one network?
problem-other = { $why }
