# What a station says of its link to the coordinator, and of its sound.

link-alone = Tuning alone. Type the leader's code to tune with others.
link-searching = Looking for the coordinator.
link-reaching = Calling the coordinator.
link-joined = With { $ensemble }.
link-offline = No link for { $time }. Keep tuning; everything is sent when the link is back.
link-other-key = This is not the coordinator you joined before. Ask the leader for the code.
link-other-version = The coordinator speaks another version. Update this station or the coordinator.
link-needs-code = A coordinator is near, with the tag { $tag }. Type the code that the leader shows.
link-refused-by = The coordinator with the tag { $tag } said so.
link-unsent = { $count ->
    [one] One report waits to be sent.
   *[other] { $count } reports wait to be sent.
}

refusal-not-invited = The coordinator does not know this station. Ask the leader for the code.
refusal-joining-closed = Joining is closed. Ask the leader to open it.
refusal-removed = The leader has turned this station away. Speak to the leader.
refusal-superseded = Another program with this station's key has joined. Close one of the two.
refusal-full = The coordinator has no seat left. Ask the leader.
refusal-misspoke = The coordinator did not understand this station. Update the older of the two.
refusal-wrong-code = The code did not match. Look at the leader's screen again: there may be a new one.
refusal-resting = Too many codes did not match. Wait { $time }, then type the code that the leader shows.
refusal-not-now = Others are joining at this moment. This station tries again by itself.

input-hears = The pickup is heard.
input-silent = Nothing is heard. Is the pickup plugged in and switched on?
input-clipped = Too loud for the input. Turn its level down.
input-humming = The mains hum at { $hz } Hz is strong. Move the cable away from power supplies, or run the laptop on its battery.
input-headset = This seems to be a Bluetooth headset, which changes the sound on its way. Plug in a pickup or a microphone with a cable.
input-playback = This is what the laptop plays, not what it hears. Choose the pickup in its place.
input-suppressed = Something takes the strings for noise and cuts them off. Turn noise suppression off in the system's sound settings.
input-levelled = Something keeps turning the level up while a string dies away. Turn automatic gain off in the system's sound settings.
input-loud-room = The room is nearly as loud as the strings. Clip the pickup to the harp, or move the microphone closer to the soundboard.
input-built-in = This seems to be the laptop's own microphone, which hears the whole room. A pickup on the harp hears more of the strings.
input-lost = The input has gone. Plug the pickup in again; nothing else is listened to in its place.
input-ended = The recordings have ended.
