//! The board.
