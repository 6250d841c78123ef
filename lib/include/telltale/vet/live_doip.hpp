// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/isotp/address.hpp"
#include "telltale/link/link.hpp"
#include "telltale/link/name.hpp"
#include "telltale/vet/doip.hpp"
#include "telltale/vet/live_base.hpp"

namespace telltale::vet {

struct LiveDoipOptions {
    /// What is to be tried. `target` is taken from the entity's name where it is not given.
    DoipVetOptions vetting;
    /// Of the ECU that is played on CAN: what it hears is `rx`.
    isotp::Address ecu = isotp::tester_address({0x7E8, false}).reversed();
    /// Those of `vetting.others`, in their order.
    std::vector<isotp::Address> others{};
    link::OpenSettings open{};
    link::Timeout open_timeout = std::chrono::seconds(15);
};

/// Vets a DoIP entity that is a gateway to CAN: speaks to it over TCP, by TLS where its name
/// says so, and plays the ECUs on a CAN link behind it, by ISO-TP.
///
/// The link's executor runs it all, and this is used from there. The link must outlive it.
class TELLTALE_API LiveDoipVetting final : public LiveBase {
  public:
    /// `entity`: a name of kind `doip`.
    LiveDoipVetting(const link::LinkName& entity, link::Link& far_end,
                    const LiveDoipOptions& options);

  private:
    class Impl;
};

} // namespace telltale::vet
