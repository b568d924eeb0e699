//! Options side by side: split of the gap, doubt, money, claims.
