//! The pages that both programs serve, the shape of the data they show, and the guard in front of them.
