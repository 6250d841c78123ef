// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <cstddef>
#include <span>

namespace telltale::run {

/// Cholesky's factor of a symmetric matrix (row by row, of which the lower triangle counts), in
/// place, in both triangles. False when the matrix is not positive definite to working accuracy.
inline bool factor(std::span<double> a, std::size_t n) {
    for (std::size_t i = 0; i < n; ++i) {
        double* const row = &a[i * n];
        const double own = std::abs(row[i]);
        for (std::size_t k = 0; k < i; ++k) {
            // What is known of the row's later places, side by side: no sum waits for the one
            // before.
            const double* const known = &a[k * n];
            const double here = row[k] / known[k];
            row[k] = here;
            for (std::size_t j = k + 1; j < i; ++j)
                row[j] -= here * known[j];
            row[i] -= here * here;
        }
        if (!(row[i] > 1e-12 * own) || !std::isfinite(row[i]))
            return false;
        row[i] = std::sqrt(row[i]);
        for (std::size_t k = 0; k < i; ++k)
            a[k * n + i] = row[k];
    }
    return true;
}

/// Solves with a factor; `b` becomes the solution.
inline void substitute(std::span<const double> a, std::size_t n, std::span<double> b) {
    for (std::size_t k = 0; k < n; ++k) {
        const double* const row = &a[k * n];
        const double here = b[k] / row[k];
        b[k] = here;
        for (std::size_t i = k + 1; i < n; ++i)
            b[i] -= row[i] * here;
    }
    for (std::size_t i = n; i-- > 0;) {
        const double* const row = &a[i * n];
        double sum = b[i];
        for (std::size_t k = i + 1; k < n; ++k)
            sum -= row[k] * b[k];
        b[i] = sum / row[i];
    }
}

} // namespace telltale::run
