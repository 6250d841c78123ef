// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace telltale::run {

/// The sum of the products of two columns of `n` rows.
float products_of(const float* a, const float* b, std::size_t n);

/// The products of all pairs of columns over the rows [from, to): a square matrix, both triangles.
/// `data` holds column after column, each `stride` long.
std::vector<float> gram_of(const std::vector<float>& data, std::size_t stride, std::size_t columns,
                           std::size_t from, std::size_t to);

/// The sum of Gram matrices.
std::vector<double> sum_of(const std::vector<std::vector<float>>& blocks);

/// Columns in the order in which they were taken, each the one that tells most of what was left.
struct Pursuit {
    std::vector<std::size_t> order;
    std::vector<double> error; ///< mean square on blocks left out, with the first i + 1 columns
    double nothing = 0;        ///< the same without any
    std::size_t best = 0;      ///< how many to keep
};

/// Orthogonal matching pursuit on the blocks' Gram matrices, of which `total` is the sum, stopped
/// where leaving each block out in turn shows no more gain. Those in `always` are no choices but
/// taken from the start. `group` names what each column belongs to: at most `most_groups` different
/// ones are taken.
Pursuit pursue(const std::vector<std::vector<float>>& blocks, const std::vector<double>& total,
               std::size_t size, const std::vector<std::size_t>& columns, std::size_t target,
               std::size_t most, const std::vector<std::size_t>& always = {},
               const std::vector<std::uint16_t>& group = {}, std::size_t most_groups = 0);

/// Ridge regression on some columns. `penalty` is added to the diagonal, but not for the first
/// `free` columns. Empty when it cannot be solved.
std::vector<double> ridge(const std::vector<double>& gram, std::size_t size,
                          const std::vector<std::size_t>& columns, std::size_t target,
                          double penalty, std::size_t free = 0);

/// The same without one block, whose Gram matrix is taken away.
std::vector<double> ridge_without(const std::vector<float>& block, const std::vector<double>& gram,
                                  std::size_t size, const std::vector<std::size_t>& columns,
                                  std::size_t target, double penalty, std::size_t free = 0);

/// Sum of the squares that `beta` leaves of the target in a block.
double left_in(const std::vector<float>& block, std::size_t size,
               const std::vector<std::size_t>& columns, std::size_t target,
               const std::vector<double>& beta);

} // namespace telltale::run
