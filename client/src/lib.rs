//! The station: hears one harp, guides the harpist, reports to the coordinator.
