// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <cstddef>
#include <span>

namespace telltale::run {

/// Cholesky's factor of a symmetric matrix (row by row, of which the lower triangle counts), in
/// place, in both triangles. False when the matrix is not positive definite to working accuracy.
inline bool factor(std::span<double> a, std::size_t n) {
    const auto finish = [&](std::size_t i, double own) {
        double* const row = &a[i * n];
        if (!(row[i] > 1e-12 * own) || !std::isfinite(row[i]))
            return false;
        row[i] = std::sqrt(row[i]);
        for (std::size_t k = 0; k < i; ++k)
            a[k * n + i] = row[k];
        return true;
    };
    // Two rows at a time, and of both what is known of their later places side by side: no sum has
    // to wait for the one before.
    std::size_t i = 0;
    for (; i + 1 < n; i += 2) {
        double* const row = &a[i * n];
        double* const next = row + n;
        const double own = std::abs(row[i]);
        const double next_own = std::abs(next[i + 1]);
        for (std::size_t k = 0; k < i; ++k) {
            const double* const known = &a[k * n];
            const double here = row[k] / known[k];
            const double below = next[k] / known[k];
            row[k] = here;
            next[k] = below;
            for (std::size_t j = k + 1; j < i; ++j) {
                row[j] -= here * known[j];
                next[j] -= below * known[j];
            }
            row[i] -= here * here;
            next[i] -= below * here;
            next[i + 1] -= below * below;
        }
        if (!finish(i, own))
            return false;
        next[i] /= row[i];
        next[i + 1] -= next[i] * next[i];
        if (!finish(i + 1, next_own))
            return false;
    }
    if (i < n) {
        double* const row = &a[i * n];
        const double own = std::abs(row[i]);
        for (std::size_t k = 0; k < i; ++k) {
            const double* const known = &a[k * n];
            const double here = row[k] / known[k];
            row[k] = here;
            for (std::size_t j = k + 1; j < i; ++j)
                row[j] -= here * known[j];
            row[i] -= here * here;
        }
        return finish(i, own);
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
