//! Dot product.

/// Dot product of two slices, up to the shorter one. It runs in eight lanes with a fixed order of addition.
#[must_use]
pub fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; 8];
    let ((left, left_rest), (right, right_rest)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    for (left, right) in left.iter().zip(right) {
        for (lane, (a, b)) in lanes.iter_mut().zip(left.iter().zip(right)) {
            *lane += a * b;
        }
    }
    let rest: f32 = left_rest.iter().zip(right_rest).map(|(a, b)| a * b).sum();
    lanes.iter().sum::<f32>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dot_product_covers_every_element() {
        let values: [f32; 19] = core::array::from_fn(|k| (k + 1) as f32);
        for n in [0, 1, 7, 8, 9, 19] {
            assert_eq!(dot(&values[..n], &values[..n]), (n * (n + 1) * (2 * n + 1) / 6) as f32);
        }
    }
}
