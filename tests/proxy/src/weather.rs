//! What becomes of each packet, as a function of a seed and of the packets before it.

use std::time::Duration;

/// How a network treats what passes in one direction.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Weather {
    /// Packets that get lost, each for itself, in percent.
    pub loss: f64,
    /// Spells in which nearly everything gets lost.
    pub bursts: Option<Bursts>,
    /// Packets that arrive twice, in percent.
    pub doubled: f64,
    /// Packets that are overtaken by later ones, in percent: they take [`LATE`] longer.
    pub late: f64,
    /// The shortest and the longest time on the way.
    pub delay: (Duration, Duration),
    /// Nothing passes.
    pub cut: bool,
}

/// Spells of loss, as of a microwave oven or a door between.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bursts {
    /// How long one lasts on average.
    pub lasting: Duration,
    /// How long the time between two lasts on average.
    pub apart: Duration,
    /// Packets that get lost in one, in percent.
    pub loss: f64,
}

/// What a late packet takes longer than others.
pub const LATE: Duration = Duration::from_millis(60);

impl Weather {
    /// A network that only takes its time, 2 to 22 ms.
    pub const FAIR: Self = Self {
        loss: 0.0,
        bursts: None,
        doubled: 0.0,
        late: 0.0,
        delay: (Duration::from_millis(2), Duration::from_millis(22)),
        cut: false,
    };

    /// A fifth is lost, a fifth doubled, a fifth overtaken.
    pub const FOUL: Self = Self {
        loss: 20.0,
        doubled: 20.0,
        late: 20.0,
        ..Self::FAIR
    };

    /// A fifth is lost, in spells of 300 ms on average.
    pub const BURSTS: Self = Self {
        bursts: Some(Bursts {
            lasting: Duration::from_millis(300),
            apart: Duration::from_millis(1_170),
            loss: 90.0,
        }),
        loss: 2.0,
        ..Self::FAIR
    };

    /// Nothing passes.
    pub const CUT: Self = Self {
        cut: true,
        ..Self::FAIR
    };
}

/// Decides the fate of packets in one direction.
#[derive(Debug)]
pub struct Fate {
    chance: u64,
    /// Whether a spell lasts, and until when this is so.
    spell: (bool, Duration),
}

impl Fate {
    /// A fate that is told by `seed` alone.
    pub const fn new(seed: u64) -> Self {
        Self {
            chance: seed,
            spell: (false, Duration::ZERO),
        }
    }

    /// How long each copy of a packet that is sent at `now` is on its way; none of one that gets lost.
    pub fn of_packet(&mut self, now: Duration, weather: &Weather) -> Vec<Duration> {
        // Always as many numbers a packet, so that a change of weather does not change what comes after it.
        let [lost, doubled, late, first, second] = std::array::from_fn(|_| self.share());
        let loss = match weather.bursts {
            Some(bursts) if self.is_spell(now, bursts) => bursts.loss,
            Some(_) | None => weather.loss,
        };
        if weather.cut || lost * 100.0 < loss {
            return Vec::new();
        }
        let (least, most) = weather.delay;
        let on_the_way = |share: f64| least + most.saturating_sub(least).mul_f64(share);
        let extra = if late * 100.0 < weather.late {
            LATE
        } else {
            Duration::ZERO
        };
        let mut copies = vec![on_the_way(first) + extra];
        if doubled * 100.0 < weather.doubled {
            copies.push(on_the_way(second));
        }
        copies
    }

    fn is_spell(&mut self, now: Duration, bursts: Bursts) -> bool {
        while self.spell.1 <= now {
            let lasts = !self.spell.0;
            let average = if lasts { bursts.lasting } else { bursts.apart };
            // Of the exponential law, as what ends at any moment with the same chance.
            let length = average.mul_f64(-(1.0 - self.share()).ln());
            self.spell = (lasts, self.spell.1 + length);
        }
        self.spell.0
    }

    /// From 0 to less than 1; Sebastiano Vigna's SplitMix64, as published in 2015.
    fn share(&mut self) -> f64 {
        self.chance = self.chance.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.chance;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Packets 10 ms apart, and what became of each.
    fn fates(seed: u64, weather: &Weather, packets: u32) -> Vec<Vec<Duration>> {
        let mut fate = Fate::new(seed);
        let sent = (0..packets).map(|packet| Duration::from_millis(10) * packet);
        sent.map(|at| fate.of_packet(at, weather)).collect()
    }

    fn percent(some: usize, all: usize) -> f64 {
        100.0 * some as f64 / all as f64
    }

    #[test]
    fn a_seed_tells_everything() {
        for weather in [Weather::FAIR, Weather::FOUL, Weather::BURSTS] {
            assert_eq!(fates(7, &weather, 500), fates(7, &weather, 500));
        }
        assert_ne!(fates(7, &Weather::FOUL, 500), fates(8, &Weather::FOUL, 500));
    }

    #[test]
    fn as_much_is_lost_and_doubled_as_the_weather_says() {
        for (what, weather, lost, doubled) in [
            ("fair", Weather::FAIR, 0.0, 0.0),
            ("foul", Weather::FOUL, 20.0, 16.0),
            ("bursts", Weather::BURSTS, 20.0, 0.0),
            ("cut", Weather::CUT, 100.0, 0.0),
        ] {
            let fates = fates(3, &weather, 100_000);
            let share = |copies| percent(fates.iter().filter(|fate| fate.len() == copies).count(), fates.len());
            assert!((share(0) - lost).abs() < 2.0, "{what}: {} % lost", share(0));
            assert!((share(2) - doubled).abs() < 1.0, "{what}: {} % doubled", share(2));
        }
    }

    #[test]
    fn losses_of_spells_come_in_a_row() {
        let in_a_row = |weather: &Weather| {
            let lost: Vec<bool> = fates(5, weather, 100_000).iter().map(Vec::is_empty).collect();
            let after = lost.windows(2).filter(|pair| pair[0]).count();
            percent(lost.windows(2).filter(|pair| pair[0] && pair[1]).count(), after)
        };
        assert!(
            (in_a_row(&Weather {
                loss: 20.0,
                ..Weather::FAIR
            }) - 20.0)
                .abs()
                < 2.0
        );
        assert!(in_a_row(&Weather::BURSTS) > 70.0);
    }

    #[test]
    fn nothing_is_faster_than_the_way_and_late_ones_are_overtaken() {
        let (least, most) = Weather::FOUL.delay;
        let all: Vec<Duration> = fates(9, &Weather::FOUL, 10_000).into_iter().flatten().collect();
        assert!(all.iter().all(|on_the_way| (least..=most + LATE).contains(on_the_way)));
        let late = all.iter().filter(|&&on_the_way| on_the_way >= least + LATE).count();
        assert!(late > all.len() / 10, "{late} of {}", all.len());
    }
}
