# What a station says of its link to the coordinator, and of its sound.

link-alone = Tuning alone. Type the leader's code to tune with others.
link-searching = Looking for the coordinator.
link-reaching = Calling the coordinator.
link-joined = With { $ensemble }.
link-offline = No link for { $time }. Keep tuning; everything is sent when the link is back.
link-offline-agreed = Agreed last: { $agreement }.
link-other-key = This is not the coordinator you joined before. Ask the leader for the code.
link-other-version = The coordinator speaks another version. Update Consort on this laptop or on the leader's.
link-needs-code = A coordinator is near, with the tag { $tag }. Type the code that the leader shows.
link-refused-by = The coordinator with the tag { $tag } said so.
link-unsent = { $count ->
    [one] One report waits to be sent.
   *[other] { $count } reports wait to be sent.
}

refusal-not-invited = The coordinator does not know this laptop. Ask the leader for the code.
refusal-joining-closed = Joining is closed. Ask the leader to open it.
refusal-removed = The leader has turned this laptop away. Speak to the leader.
refusal-superseded = This laptop has joined a second time. Close one of the two stations that run on it.
refusal-full = The coordinator has no seat left. Ask the leader.
refusal-misspoke = The coordinator did not understand this laptop. Update the older of the two.
refusal-wrong-code = The code did not match. Look at the leader's screen again: there may be a new one.
refusal-resting = Too many codes did not match. Wait { $time }, then type the code that the leader shows.
refusal-asked = The leader is asked to let this laptop in. Its tag is on her screen.
refusal-declined = The leader did not let this laptop in. Speak to the leader, or type the code that is shown.
refusal-copied = Another laptop shows the same tag as this one, as after a copied disk. Make one of the two new.
refusal-seat-taken = This harp is played at another laptop now. Join again to play another one here.
refusal-not-now = Others are joining at this moment. This laptop tries again by itself.

link-apart = This Wi-Fi seems to keep laptops apart. Use the hotspot of a phone for all laptops, or a cable.
link-called = The leader asks for { $string }: pluck it.

ask-in = { $name }, with the tag { $tag }, is near. Without a code, its leader can let this laptop in; its tag is { $own }.
ask-in-at = Without a code, the leader at { $address } can let this laptop in; its tag is { $own }.
ask-in-yes = Ask the leader
ask-seat = A harp of { $name } is played at seat { $seat } already. If it is this one, this laptop can take over.
ask-seat-waits = The other laptop and the leader are asked for seat { $seat }.
ask-seat-denied = Seat { $seat } stays with the other laptop.
ask-seat-yes = Take over
ask-give-up = { $name }, at another laptop with the tag { $tag }, wants to play this harp there.
ask-give-up-yes = Give it up
ask-give-up-no = Keep it
ask-renew = This laptop's tag is a copy of another's. A fresh one needs the leader's code again.
ask-renew-yes = Make this laptop new

# What `replay` says of a logbook that was played to its end.
logbook-played = { $lives ->
        [one] One start
       *[other] { $lives } starts
    }, { $events } events and { $effects } effects: everything came out as it did.
network-first-start = The system may ask now whether this program may use the network: allow it for private networks, else nobody can join.
network-own-address = Nothing answers at { $address }, this laptop's own address: a firewall stands between. Allow this program for private networks.

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

link-changed = Changed, it was { $was }. { $does }
desk-start-in = { $time } to the start
desk-dark = The start has passed: nothing is heard until the next round.
desk-pedals = The pedals stand in { $setting }.
desk-levers = The levers stand for { $setting }.
desk-no-tone = The leader has silenced the tones.
wrong-kept = The last seconds are kept on this laptop, in { $file }.

ask-key = To tighten a string, which way does the handle of the key go on this harp?
ask-key-away = Away from you
ask-key-towards = Towards you
ask-key-leave = Leave it out
