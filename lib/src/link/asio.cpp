// SPDX-License-Identifier: Apache-2.0
// Boost.Asio, compiled once for the whole project (BOOST_ASIO_SEPARATE_COMPILATION).
#include <boost/asio/impl/src.hpp>
#include <boost/asio/ssl/impl/src.hpp>
