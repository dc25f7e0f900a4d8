//! Numbers that do not fill whole bytes.

/// Whole numbers of `bits` bits, at most 16, one after the other, the most significant bits first.
pub(super) fn unpack(bytes: &[u8], bits: u32, count: usize) -> Vec<f32> {
    let (mut held, mut have) = (0u32, 0u32);
    let mut bytes = bytes.iter();
    let mut next = || {
        while have < bits {
            held = held << 8 | u32::from(*bytes.next().unwrap_or(&0));
            have += 8;
        }
        have -= bits;
        let value = held >> have;
        held &= (1 << have) - 1;
        value as f32
    };
    (0..count).map(|_| next()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0xABC, 0xDEF are the bytes AB CD EF.
    #[test]
    fn twelve_bits_are_unpacked_in_the_order_of_the_bits() {
        assert_eq!(unpack(&[0xab, 0xcd, 0xef], 12, 2), [2748.0, 3567.0]);
        assert_eq!(unpack(&[0b1010_1010, 0b1111_0000], 10, 1), [683.0]);
    }
}
