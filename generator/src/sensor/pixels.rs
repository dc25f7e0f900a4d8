//! What a sensor does to each pixel of a row, many side by side.

use multiversion::multiversion;

use crate::random::normals;

/// Pixels that are computed side by side.
const LANES: usize = 16;

/// Charge of pixels of different response, and their offsets, by two random words per pixel.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
pub(super) fn differing(
    pixels: &mut [f32],
    offsets: &mut [f32],
    words: [&[u32]; 2],
    differ: [f32; 2],
    dark_current_e: f32,
) {
    let (all, rest) = pixels.as_chunks_mut::<LANES>();
    let (offsets, offsets_rest) = offsets.as_chunks_mut();
    let [(of_offsets, of_offsets_rest), (of_responses, of_responses_rest)] =
        [words[0].as_chunks(), words[1].as_chunks()];
    let words = of_offsets.iter().zip(of_responses);
    for ((pixels, offsets), words) in all.iter_mut().zip(offsets).zip(words) {
        differing_side_by_side(pixels, offsets, words, differ, dark_current_e);
    }
    let words = of_offsets_rest.iter().zip(of_responses_rest);
    for ((pixel, offset), (a, b)) in rest.iter_mut().zip(offsets_rest).zip(words) {
        let (pixel, offset) = (std::array::from_mut(pixel), std::array::from_mut(offset));
        differing_side_by_side(pixel, offset, (&[*a], &[*b]), differ, dark_current_e);
    }
}

#[inline(always)]
fn differing_side_by_side<const N: usize>(
    pixels: &mut [f32; N],
    offsets: &mut [f32; N],
    (of_offsets, of_responses): (&[u32; N], &[u32; N]),
    [dsnu_e, prnu]: [f32; 2],
    dark_current_e: f32,
) {
    let (of_offsets, of_responses) = (normals(of_offsets), normals(of_responses));
    for lane in 0..N {
        let response = (1.0 + prnu * of_responses[lane]).max(0.0);
        pixels[lane] = pixels[lane] * response + dark_current_e;
        offsets[lane] = dsnu_e * of_offsets[lane];
    }
}

/// Grey levels of numbers of electrons, by one random word per pixel: with dark noise (e), gain (DN
/// per e), black and white level (DN).
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
pub(super) fn convert(pixels: &mut [f32], words: &[u32], offsets: &[f32], conversion: [f64; 4]) {
    let (all, rest) = pixels.as_chunks_mut::<LANES>();
    let ((words, words_rest), (offsets, offsets_rest)) = (words.as_chunks(), offsets.as_chunks());
    for ((pixels, words), offsets) in all.iter_mut().zip(words).zip(offsets) {
        convert_side_by_side(pixels, words, offsets, conversion);
    }
    for ((pixel, word), offset) in rest.iter_mut().zip(words_rest).zip(offsets_rest) {
        convert_side_by_side(std::array::from_mut(pixel), &[*word], &[*offset], conversion);
    }
}

#[inline(always)]
fn convert_side_by_side<const N: usize>(
    pixels: &mut [f32; N],
    words: &[u32; N],
    offsets: &[f32; N],
    [dark_noise, gain, black, white]: [f64; 4],
) {
    let noise = normals(words);
    for lane in 0..N {
        let dark = dark_noise * f64::from(noise[lane]) + f64::from(offsets[lane]);
        let grey = gain * (f64::from(pixels[lane]) + dark) + black;
        pixels[lane] = (grey + 0.5).floor().clamp(0.0, white) as f32;
    }
}
