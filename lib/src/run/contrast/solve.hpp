// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <cstddef>
#include <span>

namespace telltale::run {

/// Cholesky's factor of a symmetric matrix (row by row, lower triangle), in place. False when the
/// matrix is not positive definite to working accuracy.
inline bool factor(std::span<double> a, std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j <= i; ++j) {
            double sum = a[i * n + j];
            for (std::size_t k = 0; k < j; ++k)
                sum -= a[i * n + k] * a[j * n + k];
            if (i == j) {
                if (!(sum > 1e-12 * std::abs(a[i * n + i])) || !std::isfinite(sum))
                    return false;
                a[i * n + i] = std::sqrt(sum);
            } else {
                a[i * n + j] = sum / a[j * n + j];
            }
        }
    }
    return true;
}

/// Solves with a factor; `b` becomes the solution.
inline void substitute(std::span<const double> a, std::size_t n, std::span<double> b) {
    for (std::size_t i = 0; i < n; ++i) {
        double sum = b[i];
        for (std::size_t k = 0; k < i; ++k)
            sum -= a[i * n + k] * b[k];
        b[i] = sum / a[i * n + i];
    }
    for (std::size_t i = n; i-- > 0;) {
        double sum = b[i];
        for (std::size_t k = i + 1; k < n; ++k)
            sum -= a[k * n + i] * b[k];
        b[i] = sum / a[i * n + i];
    }
}

} // namespace telltale::run
