//! Medians and shares.

/// The value below which `share` of `values` lies, between its neighbours in proportion; NaN when there are none.
pub(crate) fn quantile(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let Some(last) = values.len().checked_sub(1) else {
        return f64::NAN;
    };
    let at = share * last as f64;
    let below = at.floor() as usize;
    let above = values[(below + 1).min(last)];
    values[below] + (at - below as f64) * (above - values[below])
}

/// How many of `all` are `some`, in percent; NaN when there are none.
pub(crate) fn percent(some: usize, all: usize) -> f64 {
    if all == 0 {
        f64::NAN
    } else {
        100.0 * some as f64 / all as f64
    }
}

/// CPU time that this thread has used, seconds, where the system tells.
pub(crate) fn cpu_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    Some(text.split_whitespace().next()?.parse::<f64>().ok()? / 1e9)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_median_lies_in_the_middle() {
        assert_eq!(quantile(&mut [3.0, 1.0, 2.0], 0.5), 2.0);
        assert_eq!(quantile(&mut [4.0, 1.0, 2.0, 3.0], 0.5), 2.5);
        assert!(quantile(&mut [], 0.5).is_nan());
        assert_eq!(percent(1, 4), 25.0);
    }
}
