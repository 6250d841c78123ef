// SPDX-License-Identifier: Apache-2.0
// PIDs 4F and 50 change the full scale of other parameters (SAE J1979-DA, annex B).
#include <algorithm>

#include "decoder.hpp"

namespace telltale::message::detail {

void remember_scaling(std::uint16_t pid, Bytes data, EcuContext& context) noexcept {
    if (pid != 0x4F && pid != 0x50)
        return;
    auto& kept = pid == 0x4F ? context.scaling_4f : context.scaling_50;
    std::copy_n(data.begin(), std::min(data.size(), kept.size()), kept.begin());
}

catalogue::Scale scale_for(const catalogue::Field& field, const EcuContext* context,
                           std::string_view& note) noexcept {
    using catalogue::Rescale;
    if (context == nullptr || field.rescale == Rescale::none)
        return field.scale;
    const catalogue::Scale scale =
        catalogue::scale_of(field, context->scaling_4f, context->scaling_50);
    if (scale != field.scale)
        note = field.rescale == Rescale::air_flow ? "scaled by PID 50" : "scaled by PID 4F";
    return scale;
}

} // namespace telltale::message::detail
