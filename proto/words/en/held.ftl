# A held tone: the A that somebody gives.

held-tone = { $note } is held at { $hz } Hz, known to { $sigma } cents and steady to { $wavers }: A = { $reference } Hz.
held-elsewhere = What is held at { $hz } Hz is not { $note }. Have { $note } given.
held-nothing = No tone is held. Bring the microphone nearer, and have { $note } given for three seconds.
