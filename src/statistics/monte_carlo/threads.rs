//! Work shared out between threads, and loops compiled for wide registers.
//!
//! Neither changes a bit of the result: pieces are numbered and put back in order, and wider
//! registers hold more draws side by side without touching the arithmetic of any one of them
//! (nothing is fused or reordered).

use std::num::NonZero;
use std::sync::{Mutex, PoisonError};

/// Hands the numbered pieces to `threads` threads, each with a state of its own.
pub(super) fn share_out<T: Send, S>(
    pieces: Vec<T>,
    threads: NonZero<usize>,
    state: impl Fn() -> S + Sync,
    work: impl Fn(&mut S, usize, T) + Sync,
) {
    let threads = threads.get().min(pieces.len());
    let waiting = Mutex::new(pieces.into_iter().enumerate());
    let next = || {
        let mut waiting = waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting.next()
    };
    let labour = || {
        let mut state = state();
        while let Some((number, piece)) = next() {
            work(&mut state, number, piece);
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..threads {
            scope.spawn(labour);
        }
        labour();
    });
}

/// Loops over lanes, inlined into each of the functions below.
pub(super) trait Loops {
    fn run(self);
}

/// Runs `loops` in the widest registers of this processor.
pub(super) fn widest(loops: impl Loops) {
    #[cfg(target_arch = "x86_64")]
    {
        if is_x86_feature_detected!("avx512f")
            && is_x86_feature_detected!("avx512dq")
            && is_x86_feature_detected!("avx512vl")
        {
            // SAFETY: the processor has what the function is compiled for.
            return unsafe { x86::in_512_bits(loops) };
        }
        if is_x86_feature_detected!("avx2") {
            // SAFETY: as above.
            return unsafe { x86::in_256_bits(loops) };
        }
    }
    loops.run();
}

#[cfg(target_arch = "x86_64")]
mod x86 {
    use super::Loops;

    #[target_feature(enable = "avx512f,avx512dq,avx512vl")]
    pub(super) fn in_512_bits(loops: impl Loops) {
        loops.run();
    }

    #[target_feature(enable = "avx2")]
    pub(super) fn in_256_bits(loops: impl Loops) {
        loops.run();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_piece_is_worked_once_under_its_number() {
        let mut squares = vec![0; 100];
        let pieces: Vec<&mut usize> = squares.iter_mut().collect();
        let seven = NonZero::new(7).unwrap();
        share_out(
            pieces,
            seven,
            || (),
            |(), number, piece| *piece += number * number,
        );
        assert!(
            squares
                .iter()
                .enumerate()
                .all(|(n, square)| *square == n * n)
        );
    }
}
