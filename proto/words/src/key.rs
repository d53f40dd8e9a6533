//! The keys of all sentences.

/// Declares [`Key`], the list of all keys and the name of each from one table, so that none of the three can lack one.
macro_rules! keys {
    ($($key:ident = $id:literal,)*) => {
        /// One sentence.
        ///
        /// A variant's name is the sentence's name in the Fluent files; what the sentence says and which arguments it
        /// takes stands there.
        #[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
        #[allow(missing_docs)] // The Fluent files say what each one means; a second copy here would only drift.
        pub enum Key {
            $($key,)*
        }

        impl Key {
            /// All keys, in the order of the files.
            pub const ALL: &[Self] = &[$(Self::$key,)*];

            /// The sentence's name in the Fluent files.
            pub const fn id(self) -> &'static str {
                match self {
                    $(Self::$key => $id,)*
                }
            }
        }
    };
}

keys! {
    GuidePluck = "guide-pluck",
    GuideAgain = "guide-again",
    GuideTighten = "guide-tighten",
    GuideLoosen = "guide-loosen",
    GuideLetRing = "guide-let-ring",
    GuidePluckOnceMore = "guide-pluck-once-more",
    GuideHolds = "guide-holds",
    GuideWhichPin = "guide-which-pin",
    GuideWhichHarp = "guide-which-harp",
    GuidePedalUp = "guide-pedal-up",
    GuideLeverDown = "guide-lever-down",
    GuideLeaveIt = "guide-leave-it",
    GuideHarpDone = "guide-harp-done",
    GuideFarTouch = "guide-far-touch",
    GuideFarLittle = "guide-far-little",
    GuideFarGood = "guide-far-good",
    GuideFarSteps = "guide-far-steps",

    WhyNotHeard = "why-not-heard",
    WhyFlat = "why-flat",
    WhySharp = "why-sharp",
    WhyWithin = "why-within",
    WhyYoung = "why-young",
    WhyConfirm = "why-confirm",
    WhyHolds = "why-holds",
    WhyMoved = "why-moved",
    WhyWillNotHold = "why-will-not-hold",
    WhyNew = "why-new",
    WhyMissing = "why-missing",
    WhyUnsure = "why-unsure",
    WhyOpening = "why-opening",
    WhyOpeningRings = "why-opening-rings",
    WhyAllPedals = "why-all-pedals",
    WhyOpenTuningHigh = "why-open-tuning-high",
    WhyOpenTuningLow = "why-open-tuning-low",
    WhyElsewhere = "why-elsewhere",
    WhyAnotherHarp = "why-another-harp",
    WhyStandstill = "why-standstill",
    WhyTooFarFlat = "why-too-far-flat",
    WhyTooFarSharp = "why-too-far-sharp",
    WhyPedal = "why-pedal",
    WhyLever = "why-lever",
    WhyFarFlat = "why-far-flat",
    WhyAllSet = "why-all-set",
    WhyAllWithinBut = "why-all-within-but",

    PlaceMiddleC = "place-middle-c",
    PlaceFromTop = "place-from-top",
    PlaceFromBottom = "place-from-bottom",
    PlacePinsAbove = "place-pins-above",
    PlacePinsBelow = "place-pins-below",
    PlaceRed = "place-red",
    PlaceDark = "place-dark",
    PlaceAboveLetter = "place-above-letter",

    StandingNotHeard = "standing-not-heard",
    StandingOffFlat = "standing-off-flat",
    StandingOffSharp = "standing-off-sharp",
    StandingSetOnce = "standing-set-once",
    StandingHolds = "standing-holds",
    StandingMoved = "standing-moved",
    StandingWillNotHold = "standing-will-not-hold",
    StandingNew = "standing-new",
    StandingMissing = "standing-missing",

    HarpReady = "harp-ready",
    HarpReadyButFor = "harp-ready-but-for",
    HarpLeft = "harp-left",
    HarpLeftAll = "harp-left-all",

    PresenceHere = "presence-here",
    PresenceUnsure = "presence-unsure",
    PresenceSilent = "presence-silent",
    PresenceAway = "presence-away",
    PresenceRemoved = "presence-removed",

    TimeSeconds = "time-seconds",
    TimeMinutes = "time-minutes",

    BoardNobody = "board-nobody",
    BoardAllReady = "board-all-ready",
    BoardStillTuning = "board-still-tuning",
    BoardSilent = "board-silent",
    BoardTuningAndSilent = "board-tuning-and-silent",
    BoardReadyOf = "board-ready-of",
    BoardSeat = "board-seat",
    BoardLastReported = "board-last-reported",
    BoardStrings = "board-strings",
    BoardStringsNotHeard = "board-strings-not-heard",
    BoardStringsOff = "board-strings-off",
    BoardStringsSetOnce = "board-strings-set-once",
    BoardStringsHold = "board-strings-hold",
    BoardStringsMoved = "board-strings-moved",
    BoardStringsWillNotHold = "board-strings-will-not-hold",
    BoardStringsNew = "board-strings-new",
    BoardStringsMissing = "board-strings-missing",
    BoardDiskFull = "board-disk-full",

    JoiningOpen = "joining-open",
    JoiningClosed = "joining-closed",
    JoiningNewcomer = "joining-newcomer",

    CodeOpen = "code-open",
    CodeTried = "code-tried",
    CodeResting = "code-resting",
    CodeClosed = "code-closed",

    AgreementLine = "agreement-line",

    RoundLine = "round-line",

    StartIn = "start-in",
    StartPassed = "start-passed",

    TemperamentEqual = "temperament-equal",
    TemperamentPythagorean = "temperament-pythagorean",
    TemperamentQuarterCommaMeantone = "temperament-quarter-comma-meantone",
    TemperamentFifthCommaMeantone = "temperament-fifth-comma-meantone",
    TemperamentSixthCommaMeantone = "temperament-sixth-comma-meantone",
    TemperamentSixthPythagoreanMeantone = "temperament-sixth-pythagorean-meantone",
    TemperamentWerckmeisterThree = "temperament-werckmeister-three",
    TemperamentKirnbergerTwo = "temperament-kirnberger-two",
    TemperamentKirnbergerThree = "temperament-kirnberger-three",
    TemperamentVallotti = "temperament-vallotti",
    TemperamentYoungTwo = "temperament-young-two",
    TemperamentKellner = "temperament-kellner",
    TemperamentJustOnC = "temperament-just-on-c",
    TemperamentOwn = "temperament-own",

    ConsequenceNone = "consequence-none",
    ConsequenceAllFlat = "consequence-all-flat",
    ConsequenceAllSharp = "consequence-all-sharp",
    ConsequenceSome = "consequence-some",
    ConsequenceReadyAgain = "consequence-ready-again",
    ConsequenceRaiseCaution = "consequence-raise-caution",

    LinkAlone = "link-alone",
    LinkSearching = "link-searching",
    LinkReaching = "link-reaching",
    LinkJoined = "link-joined",
    LinkOffline = "link-offline",
    LinkOtherKey = "link-other-key",
    LinkOtherVersion = "link-other-version",
    LinkNeedsCode = "link-needs-code",
    LinkRefusedBy = "link-refused-by",
    LinkUnsent = "link-unsent",

    RefusalNotInvited = "refusal-not-invited",
    RefusalJoiningClosed = "refusal-joining-closed",
    RefusalRemoved = "refusal-removed",
    RefusalSuperseded = "refusal-superseded",
    RefusalFull = "refusal-full",
    RefusalMisspoke = "refusal-misspoke",
    RefusalWrongCode = "refusal-wrong-code",
    RefusalResting = "refusal-resting",
    RefusalNotNow = "refusal-not-now",

    InputHears = "input-hears",
    InputSilent = "input-silent",
    InputClipped = "input-clipped",
    InputHumming = "input-humming",
    InputHeadset = "input-headset",
    InputPlayback = "input-playback",
    InputSuppressed = "input-suppressed",
    InputLevelled = "input-levelled",
    InputLoudRoom = "input-loud-room",
    InputBuiltIn = "input-built-in",
    InputLost = "input-lost",
    InputEnded = "input-ended",

    TypedUnknownOption = "typed-unknown-option",
    TypedUnknownOrder = "typed-unknown-order",
    TypedValueMissing = "typed-value-missing",
    TypedValueRefused = "typed-value-refused",
    TypedValueUnknown = "typed-value-unknown",
    TypedMissing = "typed-missing",
    TypedConflict = "typed-conflict",

    ProblemFileMissing = "problem-file-missing",
    ProblemFileNoAudio = "problem-file-no-audio",
    ProblemFileEmpty = "problem-file-empty",
    ProblemFileSilent = "problem-file-silent",
    ProblemFileTruncated = "problem-file-truncated",
    ProblemFileRate = "problem-file-rate",
    ProblemFileClipped = "problem-file-clipped",
    ProblemFileDeadSide = "problem-file-dead-side",
    ProblemFileNoPluck = "problem-file-no-pluck",
    ProblemDataDamaged = "problem-data-damaged",
    ProblemCoordinatorUnreachable = "problem-coordinator-unreachable",
    ProblemOther = "problem-other",
}
