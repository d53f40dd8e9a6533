# What a station says of its link to the coordinator, and of its sound.

link-alone = Tuning alone. Paste a join link to tune with others.
link-searching = Looking for the coordinator.
link-reaching = Calling the coordinator.
link-joined = With { $ensemble }.
link-offline = No link for { $time }. Keep tuning; everything is sent when the link is back.
link-other-key = This is not the coordinator you joined before. Ask the leader for a new join link.
link-other-version = The coordinator speaks another version. Update this station or the coordinator.
link-needs-link = A coordinator is near, with the tag { $tag }. Ask the leader for the join link.
link-unsent = { $count ->
    [one] One report waits to be sent.
   *[other] { $count } reports wait to be sent.
}

refusal-not-invited = The coordinator does not know this station. Ask the leader for a new join link.
refusal-joining-closed = Joining is closed. Ask the leader to open it.
refusal-removed = The leader has turned this station away. Speak to the leader.
refusal-superseded = Another program with this station's key has joined. Close one of the two.
refusal-full = The coordinator has no seat left. Ask the leader.
refusal-misspoke = The coordinator did not understand this station. Update the older of the two.

input-hears = The pickup is heard.
input-silent = Nothing is heard. Is the pickup plugged in and switched on?
input-clipped = Too loud for the input. Turn its level down.
input-humming = The mains hum at { $hz } Hz is strong. Move the cable away from power supplies, or run the laptop on its battery.
input-lost = The input has gone. Plug the pickup in again; nothing else is listened to in its place.
input-ended = The recordings have ended.
