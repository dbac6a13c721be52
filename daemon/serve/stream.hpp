// The stream type that the two files with the HTTP library share. Includes it: not for other files.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/generic/stream_protocol.hpp>
#include <boost/beast/core/basic_stream.hpp>
#include <boost/beast/http/message.hpp>
#include <boost/beast/http/string_body.hpp>

namespace tallystick::serve {
using Stream = boost::beast::basic_stream<boost::asio::generic::stream_protocol>;
using HttpRequest = boost::beast::http::request<boost::beast::http::string_body>;
}  // namespace tallystick::serve
