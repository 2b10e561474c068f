//! Exact lengths and positions in written music.

use num_rational::Ratio;

/// A length or position as an exact fraction of a whole note: a quarter note is 1/4.
pub type Length = Ratio<i64>;
