#include "drivers/ports/name_lookup.hpp"

#include <netdb.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <cstring>
#include <mutex>
#include <system_error>
#include <thread>

namespace tallystick::ports {

/// `loop` and `found` are empty once nobody wants the answer; the mutex keeps the loop alive while the thread
/// posts to it.
struct NameLookup::Shared {
  std::mutex mutex;
  boost::asio::io_context* loop = nullptr;
  Found found;

  static void answer(const std::shared_ptr<Shared>& self, Expected<TcpAddresses> addresses) {
    const std::lock_guard lock(self->mutex);
    if (self->loop == nullptr) return;
    boost::asio::post(*self->loop, [self, kept = std::move(addresses)] {
      Found found;
      {
        const std::lock_guard inner(self->mutex);
        found = std::exchange(self->found, {});
        self->loop = nullptr;
      }
      if (found) found(kept);
    });
  }
};

NameLookup::NameLookup(boost::asio::io_context& loop, Ask ask) : loop_(loop), ask_(std::move(ask)) {}

NameLookup::~NameLookup() { forget(); }

void NameLookup::start(const std::string& host, int port, Found found) {
  if (shared_) {
    const std::lock_guard lock(shared_->mutex);
    if (shared_->loop != nullptr) {
      shared_->found = std::move(found);
      return;
    }
  }
  shared_ = std::make_shared<Shared>();
  shared_->loop = &loop_;
  shared_->found = std::move(found);
  try {
    std::thread([shared = shared_, ask = ask_, host, port] {
      Shared::answer(shared, ask(host, port));
    }).detach();
  } catch (const std::system_error& error) {
    Shared::answer(shared_, fail("port_failed", std::string("no thread to look its name up: ") + error.what(),
                                 "host " + host, "write its address in numbers"));
  }
}

void NameLookup::forget() {
  if (!shared_) return;
  const std::lock_guard lock(shared_->mutex);
  shared_->loop = nullptr;
  shared_->found = {};
}

Expected<TcpAddresses> NameLookup::ask_system(const std::string& host, int port) {
  addrinfo wanted{};
  wanted.ai_family = AF_UNSPEC;
  wanted.ai_socktype = SOCK_STREAM;
  wanted.ai_flags = AI_ADDRCONFIG;
  addrinfo* list = nullptr;
  const int code = ::getaddrinfo(host.c_str(), std::to_string(port).c_str(), &wanted, &list);
  if (code != 0) {
    return fail(
        "port_absent",
        "the name \"" + host +
            "\" leads to no address: " + (code == EAI_SYSTEM ? std::strerror(errno) : ::gai_strerror(code)),
        "host " + host, "look at its spelling and at the name service, or write the address in numbers");
  }
  TcpAddresses out;
  for (const addrinfo* one = list; one != nullptr; one = one->ai_next) {
    boost::asio::ip::tcp::endpoint endpoint;
    if (one->ai_addrlen > endpoint.capacity()) continue;
    std::memcpy(endpoint.data(), one->ai_addr, one->ai_addrlen);
    endpoint.resize(one->ai_addrlen);
    out.push_back(endpoint);
  }
  ::freeaddrinfo(list);
  return out;
}

}  // namespace tallystick::ports
