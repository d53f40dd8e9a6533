# What goes wrong, and what to do. One sentence each, after the program's name.

problem-file-missing = { $file } cannot be opened: { $why }: look at the name and the folder
problem-file-no-audio = { $file } holds no sound that can be read: give a WAV or FLAC file
problem-file-empty = { $file } is empty: record again, with the pickup plugged in
problem-file-silent = { $file } holds only silence: look at the pickup and the input, then record again
problem-file-truncated = { $file } breaks off after { $seconds } s: what is there was heard; copy it again to hear the rest
problem-file-rate = { $file } has { $rate } samples a second: give a recording with { $min } to { $max }
problem-file-clipped = { $file } is clipped: turn the input down and record again for finer readings
problem-file-dead-side = { $file } has sound on one side only: that side was heard
problem-file-no-pluck = { $file } holds no pluck: record one string at a time, and let it ring

problem-harp-unknown = there is no harp called “{ $name }” here: choose one of { $presets }, or give a TOML file
problem-harp-file = { $file } is not a harp yet: { $why }
problem-pitch = { $why }
problem-temperament = there is no temperament called “{ $name }” here: choose one of { $names }, or give twelve numbers from C to B
problem-setting = { $why }
problem-name = { $why }
problem-join-link = { $why }
problem-input-unknown = there is no input called “{ $name }”: `consort-station inputs` lists those there are
problem-input-none = no input can be opened: plug the pickup in and look at the system's sound settings

problem-data-unwritable = nothing can be written to { $folder }: { $why }: choose another folder with --data
problem-data-held = { $folder } is in use by another copy of this program: close that one, or choose another folder with --data
problem-data-damaged = { $file } was damaged and has been put aside as { $aside }: a new one was begun
problem-data-newer = { $file } was written by a newer version: update this program, or choose another folder with --data
problem-port-used = port { $port } is in use by another program: close it, or choose another port with { $option }
problem-coordinator-absent = no coordinator is running on { $folder }: start `consort-coordinator` first
problem-coordinator-unreachable = no answer from { $address }: is the coordinator running, and are both on one network?
problem-discovery = discovery does not work here: { $why }: join by link or by address
problem-other = { $why }
