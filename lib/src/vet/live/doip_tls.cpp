// SPDX-License-Identifier: Apache-2.0
// TLS: what it is, and that there is no way round it.
#include "doip_impl.hpp"

namespace telltale::vet {

using namespace through; // NOLINT: its own

void DoipVetting::Impl::step_tls(Time now) {
    if (!options_.tls)
        return go_to(Step::before, now);
    const auto had = connection(0, at_, now);
    if (!had)
        return;
    using Kind = link::TlsOutcome::Kind;
    const link::TlsOutcome tls = lines_[0].tls;
    const bool untrusted = tls.kind == Kind::untrusted;
    const bool other_host = tls.kind == Kind::other_host;
    hangs_ = !*had && tls.kind == Kind::none;
    tls_.all += hangs_ ? 0 : 1;
    // What is not trusted ends a handshake that goes well otherwise.
    speaks_tls_ = (*had && tls.kind == Kind::agreed) || untrusted || other_host;
    if (speaks_tls_)
        tls_agreed_ = tls;
    else if (tls.kind == Kind::refused)
        tls_.fault(since(now), {}, {}, "it does not agree on TLS 1.2 or later: " + tls.why);
    else if (tls.kind == Kind::not_spoken)
        tls_.fault(since(now), {}, {}, "it does not speak TLS: " + tls.why);
    else if (!hangs_)
        tls_.fault(since(now), {}, {}, "the handshake was not made");
    if (speaks_tls_ && !options_.unverified) {
        ++certificate_.all;
        if (untrusted)
            certificate_.fault(since(now), {}, {}, "it is not trusted: " + tls.why);
        host_.all += untrusted ? 0 : 1;
        if (other_host)
            host_.fault(since(now), {}, {}, "it is another host's");
    }
    if (!speaks_tls_)
        trouble_ = "there is no TLS with it";
    else if (untrusted || other_host)
        trouble_ =
            "who it is cannot be trusted; ,unverified in place of ,ca=FILE goes on all the same";
    close_line(0);
    go_to(Step::tls_plain, now);
}

void DoipVetting::Impl::step_tls_plain(Time now) {
    Line& line = lines_[1];
    if (at_ < 2) {
        const auto had = connection(1, at_, now, DoipConnection::plain);
        if (!had)
            return;
        if (hangs_) { // or is there nobody?
            if (!*had) {
                trouble_ = "no connection to it could be had";
                return finish(now);
            }
            ++tls_.all;
            tls_.fault(since(now), {}, {}, "the handshake comes to no end within 5 s");
        }
        ++plain_.all;
        if (*had) {
            activate(1);
            return allow(now + answer_time);
        }
    } else if (!line.activation && !line.ended && !wait_until(until_, now)) {
        return;
    }
    if (line.activation && line.activation->active())
        plain_.fault(since(now), {}, {}, "it activates routing without TLS");
    close_line(1);
    go_to(Step::tls_old, now);
}

void DoipVetting::Impl::step_tls_old(Time now) {
    if (speaks_tls_) {
        const auto had = connection(1, at_, now, DoipConnection::old_tls);
        if (!had)
            return;
        const link::TlsOutcome& tls = lines_[1].tls;
        if (tls.kind == link::TlsOutcome::Kind::unable) {
            no_old_tls_ = "this computer's OpenSSL does not have it";
        } else {
            ++old_tls_.all;
            if (*had)
                old_tls_.fault(since(now), {}, {}, "it agrees on " + tls.version);
        }
        close_line(1);
    }
    if (!trouble_.empty())
        return finish(now);
    go_to(Step::before, now);
}

void DoipVetting::Impl::write_tls() {
    if (!options_.tls)
        return;
    const std::string not_tried = !trouble_.empty() && tls_.all == 0 ? trouble_
                                  : tls_.all == 0                    ? "it was not tried"
                                  : !speaks_tls_                     ? "it does not speak TLS"
                                  : options_.unverified ? "the link's name says ,unverified"
                                                        : "its certificate is not trusted";
    row("doip-tls", "It speaks TLS 1.2 or later", "ISO 13400-2:2019; from memory", tls_,
        "one handshake",
        tls_agreed_.version.empty() ? "it does" : tls_agreed_.version + ", " + tls_agreed_.cipher,
        not_tried, true);
    row("doip-tls-certificate", "An authority that is trusted vouches for its certificate",
        "RFC 5280, 6", certificate_, "one handshake", "it does", not_tried, true);
    row("doip-tls-host", "The certificate is its own host's", "RFC 6125, 6", host_, "one handshake",
        "it is", not_tried, true);
    row("doip-tls-plain", "A tester without TLS is not activated where TLS is spoken",
        "ISO 13400-2:2019; from memory", plain_, "one request in plain", "not activated",
        tls_.all == 0 ? not_tried : "it was not tried", true);
    row("doip-tls-old", "TLS 1.0 and 1.1 are refused", "ISO 13400-2:2019; RFC 8996", old_tls_,
        "one handshake", "refused", !no_old_tls_.empty() ? no_old_tls_ : not_tried, true);
}

} // namespace telltale::vet
